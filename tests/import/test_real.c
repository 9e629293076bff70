/* Openly published recordings of healthy adults on a mask: found through TIDEMARK_OPEN_DATA in the environment, else
 * skipped. Sources: obstructive, doi 10.13026/xczc-3662; apnoea, doi 10.13026/s45r-k263 (PhysioNet). The rows were
 * counted with other tools. */
#include "ingest/source.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

struct heard {
    uint64_t falls_at, holes;
    bool jitter;
    char hole_text[256];
};

static void hear(void *user, const struct notice *n)
{
    struct heard *h = user;
    if (strcmp(n->code, "time_falls") == 0)
        h->falls_at = n->line;
    if (strcmp(n->code, "holes") == 0) {
        h->holes++;
        memcpy(h->hole_text, n->what, sizeof h->hole_text);
    }
    h->jitter = h->jitter || strcmp(n->code, "jitter") == 0;
}

struct real {
    const char *path;
    const char *columns, *flow_unit;
    size_t n;
    double last_s;
    uint64_t falls_at; /* line; 0: never */
    bool regular;
    double first_paw, first_flow;
};

static void check(const struct real *x, const char *folder)
{
    char path[600];
    struct import_opts o;
    struct heard h = {.falls_at = 0};
    struct notice_sink sink = {hear, &h};
    struct source *s;
    struct err e;
    struct item item;
    (void)snprintf(path, sizeof path, "%s/%s", folder, x->path);
    import_opts_defaults(&o);
    o.columns = x->columns;
    o.flow_unit = x->flow_unit;
    if (source_open(&s, path, &o, &sink, &e) != TM_OK)
        fail_msg("%s: %s (%s)", path, e.what, e.mend);
    size_t n = 0;
    int64_t t_ns = 0;
    double paw = (double)NAN, flow = (double)NAN;
    while (source_next(s, &item, &e) == SRC_ITEM) {
        if (n == 0) {
            paw = item.samples->v[CH_PAW][0];
            flow = item.samples->v[CH_FLOW][0];
        }
        n += item.samples->n;
        t_ns = item.samples->t_ns[item.samples->n - 1];
    }
    const struct recording_info *info = source_info(s);
    if (n != x->n || fabs((double)t_ns * 1e-9 - x->last_s) > 5e-10 || h.falls_at != x->falls_at ||
        info->regular != x->regular || h.jitter == x->regular || paw != x->first_paw || fabs(flow - x->first_flow) > 1e-15)
        fail_msg("%s: %zu samples to %.9f s, falls in line %llu, regular %d, first %.17g %.17g", path, n,
                 (double)t_ns * 1e-9, (unsigned long long)h.falls_at, info->regular, paw, flow);
    if (info->regular)
        assert_true(info->rate_num == 100 && info->rate_den == 1);
    source_close(s);
}

static void recordings(void **state)
{
    (void)state;
    static const struct real table[] = {
        {"obstructive/processed/ProcessedCOPD_Subject01_0cmH2O_0mL.csv", NULL, NULL, 3360, 33.59, 0, true, 2.68199759787125, -0.577100146942143},
        {"obstructive/processed/ProcessedCOPD_Subject01_4cmH2O_200mL.csv", NULL, NULL, 3361, 33.6, 0, true, 18.1624877327841, -0.307772604848743},
        {"obstructive/processed/ProcessedCOPD_Subject02_8cmH2O_300mL.csv", NULL, NULL, 3361, 33.6, 0, true, 2.68199759787125, 1.10813147778087},
        {"obstructive/raw/COPDTrial2023_Subject1_4cmH2O_200mL.csv", "flow_in=3,flow_out=4", "uncalibrated", 3361, 33.542316, 3363, false, 18.1624877327841, -0.1072799039148501},
        {"apnoea/Subject1_4cmH2O_apnea1.csv", "flow=3", "uncalibrated", 20003, 59.994045, 20005, false, 3.8, 0.09},
        {"apnoea/Subject2_8cmH2O_apnea1.csv", "flow=3", "uncalibrated", 20005, 59.995354, 20007, false, 7.76, 0.76},
        {"apnoea/Subject13_4cmH2O_normal.csv", "flow=3", "uncalibrated", 20007, 59.996543, 20009, false, 3.58, 0.08},
        {"apnoea/Subject17_8cmH2O_apnea2.csv", "flow=3", "uncalibrated", 20005, 59.996298, 20007, false, 7.68, 0.15},
    };
    const char *folder = getenv("TIDEMARK_OPEN_DATA");
    if (!folder || !*folder) {
        print_message("TIDEMARK_OPEN_DATA is not set; the recordings are doi 10.13026/xczc-3662 and 10.13026/s45r-k263\n");
        skip();
    }
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        check(&table[i], folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(recordings)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
