/* A text and the log made of it give the same samples, bit for bit, and the same rule for holes. */
#include "ingest/log/log_write.h"
#include "ingest/source.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#define FOLDER "fixtures/import/"

static int to_file(void *user, const void *data, size_t n)
{
    return fwrite(data, 1, n, user) == n ? TM_OK : TM_ERR_SYSTEM;
}

static void write_log(const char *text, const char *log, const struct import_opts *o)
{
    struct source *s;
    struct err e;
    struct item item;
    FILE *f = fopen(log, "wb");
    struct log_write_opts lo = {.write = to_file, .user = f};
    struct log_writer *w = NULL;
    assert_non_null(f);
    if (source_open(&s, text, o, NULL, &e) != TM_OK)
        fail_msg("%s: %s", text, e.what);
    while (source_next(s, &item, &e) == SRC_ITEM) {
        if (!w && log_writer_new(&w, source_info(s), &lo, &e) != TM_OK)
            fail_msg("%s: %s", text, e.what);
        if (item.kind == ITEM_SAMPLES)
            assert_int_equal(log_write_samples(w, item.samples), TM_OK);
    }
    assert_int_equal(log_write_close(w), TM_OK);
    log_writer_destroy(w);
    source_close(s);
    assert_int_equal(fclose(f), 0);
}

struct samples {
    size_t n;
    int64_t t_ns[4000];
    double v[CH_N][4000];
    struct recording_info info;
};

static struct samples *read_all(const char *path, const struct import_opts *o)
{
    struct samples *x = calloc(1, sizeof *x);
    struct source *s;
    struct err e;
    struct item item;
    assert_non_null(x);
    if (source_open(&s, path, o, NULL, &e) != TM_OK)
        fail_msg("%s: %s", path, e.what);
    while (source_next(s, &item, &e) == SRC_ITEM) {
        if (item.kind != ITEM_SAMPLES)
            continue;
        const struct sample_block *b = item.samples;
        assert_true(x->n + b->n <= 4000);
        memcpy(x->t_ns + x->n, b->t_ns, b->n * sizeof b->t_ns[0]);
        for (int c = 0; c < CH_N; c++)
            if (b->channels >> c & 1)
                memcpy(x->v[c] + x->n, b->v[c], b->n * sizeof(double));
        x->n += b->n;
    }
    x->info = *source_info(s);
    source_close(s);
    return x;
}

static void compare(const char *name, const struct import_opts *o)
{
    char text[300], log[] = "/tmp/tidemark-test-XXXXXX";
    int fd = mkstemp(log);
    assert_true(fd >= 0);
    (void)close(fd);
    (void)snprintf(text, sizeof text, "%s%s", name[0] == '/' ? "" : FOLDER, name);
    write_log(text, log, o);
    struct samples *a = read_all(text, o), *b = read_all(log, o);
    (void)unlink(log);
    if (a->n != b->n || a->info.gap_limit_ns != b->info.gap_limit_ns || a->info.regular != b->info.regular ||
        a->info.rate_num * b->info.rate_den != b->info.rate_num * a->info.rate_den)
        fail_msg("%s: %zu samples, %lld ns; log: %zu, %lld ns", name, a->n, (long long)a->info.gap_limit_ns, b->n,
                 (long long)b->info.gap_limit_ns);
    for (size_t i = 0; i < a->n; i++)
        for (int c = 0; c < CH_N; c++)
            if (a->t_ns[i] != b->t_ns[i] || (memcmp(&a->v[c][i], &b->v[c][i], sizeof(double)) != 0 &&
                                            !(a->v[c][i] != a->v[c][i] && b->v[c][i] != b->v[c][i])))
                fail_msg("%s: sample %zu, channel %d: %lld ns %.17g; log %lld ns %.17g", name, i, c, (long long)a->t_ns[i],
                         a->v[c][i], (long long)b->t_ns[i], b->v[c][i]);
    free(a);
    free(b);
}

static void fixtures(void **state)
{
    (void)state;
    static const char *const files[] = {"plain.csv", "members.csv.gz", "milliseconds.csv", "units-row.csv", "two-flows.csv",
                                        "midnight.csv", "333-and-a-third-hertz.csv", "exponents.txt", "hole.csv", "jitter.csv",
                                        "not-finite.csv", "padding.csv", "ragged.csv"};
    struct import_opts o;
    import_opts_defaults(&o);
    for (size_t i = 0; i < sizeof files / sizeof files[0]; i++)
        compare(files[i], &o);
    o.average = 4;
    compare("kilohertz-4.csv", &o);
    o.average = 0;
    o.rate_hz = 1000.0 / 3;
    compare("rate-only.csv", &o);
}

static void real(void **state)
{
    (void)state;
    char path[300];
    const char *folder = getenv("TIDEMARK_OPEN_DATA");
    struct import_opts o;
    import_opts_defaults(&o);
    if (!folder || !*folder)
        skip();
    (void)snprintf(path, sizeof path, "%s/obstructive/processed/ProcessedCOPD_Subject01_0cmH2O_0mL.csv", folder);
    compare(path, &o);
    o.columns = "flow_in=3,flow_out=4";
    o.flow_unit = "uncalibrated";
    (void)snprintf(path, sizeof path, "%s/obstructive/raw/COPDTrial2023_Subject1_4cmH2O_200mL.csv", folder);
    compare(path, &o);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(fixtures), cmocka_unit_test(real)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
