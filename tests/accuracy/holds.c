#include "tests/accuracy/holds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *event, *name, *title;
    double within;
    bool relative;
} values[HOLD_VALUES] = {
    {"insp_hold", "pplat_cmh2o", "plateau, cmH2O", 0.5, false},
    {"insp_hold", "cstat_ml_cmh2o", "static compliance, %", 5, true},
    {"exp_hold", "total_peep_cmh2o", "total PEEP, cmH2O", 0.5, false},
    {"exp_hold", "autopeep_cmh2o", "auto-PEEP, cmH2O", 0.5, false},
};

const char *hold_value_title(enum hold_value v)
{
    return values[v].title;
}

double hold_value_within(enum hold_value v)
{
    return values[v].within;
}

double event_number(const char *text, const char *name)
{
    size_t n = strlen(name);
    for (const char *p = text; p && *p; p = strchr(p, ';')) {
        p += *p == ';';
        if (strncmp(p, name, n) == 0 && p[n] == '=') {
            char *end;
            double x = strtod(p + n + 1, &end);
            return end > p + n + 1 ? x : (double)NAN;
        }
    }
    return NAN;
}

int holds_compare(struct holds *h, const struct event *truth, const struct event *found)
{
    int rc = 0;
    for (int i = 0; i < HOLD_VALUES; i++) {
        double t = event_number(truth->values, values[i].name), f = event_number(found->values, values[i].name);
        if (strcmp(truth->name, values[i].event) != 0 || isnan(t)) {
            continue;
        }
        h->of[i]++;
        rc |= numbers_add(&h->off[i], values[i].relative ? 100 * (f - t) / t : f - t);
    }
    return rc;
}

void holds_report(FILE *o, const struct holds *h)
{
    fputs("| value | found holds that have it | given | bias | 95 % limits | within |\n|---|---|---|---|---|---|\n", o);
    for (int i = 0; i < HOLD_VALUES; i++) {
        const struct numbers *s = &h->off[i];
        size_t near = 0;
        for (size_t k = 0; k < s->n; k++) {
            near += fabs(s->v[k]) <= values[i].within;
        }
        fprintf(o, "| %s | %zu | %zu |", values[i].title, h->of[i], s->n);
        if (s->n < 2) {
            fputs(" - | - | - |\n", o);
        } else {
            fprintf(o, " %+.2f | +- %.2f | %zu within %g |\n", numbers_mean(s), 1.96 * numbers_sd(s), near, values[i].within);
        }
    }
}

void holds_free(struct holds *h)
{
    for (int i = 0; i < HOLD_VALUES; i++) {
        numbers_free(&h->off[i]);
    }
}
