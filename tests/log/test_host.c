/* clock=host: arrival times to sample times. The truth is known here: a source with its own crystal, lines that come in
 * bursts and late. */
#include "tests/log/kit.h"

#include "ingest/log/host_fit.h"

#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>

/* Largest distance from the truth after a minute, s. The source runs off by ppm; each sample waits for its burst to be
 * full, and up to 3 ms more. */
static double worst_error(double ppm, int burst, uint64_t seed)
{
    struct host_fit f;
    host_fit_init(&f, 100, 1);
    int64_t last = INT64_MIN;
    double worst = 0;
    for (int64_t k = 0; k < 30000; k++) {
        double step = 1e7 * (1 + ppm * 1e-6), truth = (double)k * step;
        double sent = (double)(k / burst * burst + burst - 1) * step;
        double arrival = sent + 2e6 + (double)(rnd(&seed) % 3000000);
        int64_t t = host_fit_push(&f, (int64_t)arrival, last);
        assert_true(last == INT64_MIN || t > last);
        /* Against the truth as late as the earliest can be: the last sample of a burst. */
        if (k > 6000 && fabs((double)t - truth - 2e6) > worst)
            worst = fabs((double)t - truth - 2e6);
        last = t;
    }
    return worst / 1e9;
}

static void near_the_truth(void **state)
{
    (void)state;
    static const double ppm[] = {0, 50, -50, 5000, -5000};
    static const int burst[] = {1, 4, 16};
    for (size_t i = 0; i < 5; i++)
        for (size_t b = 0; b < 3; b++)
            assert_true(worst_error(ppm[i], burst[b], 7 + i) < 0.004);
}

/* A hole, told or not, starts the fit anew: no slow creep into place. */
static void holes(void **state)
{
    (void)state;
    struct host_fit f;
    host_fit_init(&f, 100, 1);
    int64_t t = 0;
    for (int64_t k = 0; k < 500; k++)
        t = host_fit_push(&f, k * 10000000, k ? t : INT64_MIN);
    assert_int_equal(t, 4990000000);
    t = host_fit_push(&f, 9000000000, t);
    assert_int_equal(t, 9000000000);
    host_fit_restart(&f);
    t = host_fit_push(&f, 9100000000, t);
    assert_int_equal(t, 9100000000);
    host_fit_restart(&f);
    t = host_fit_push(&f, 9050000000, t); /* never backwards */
    assert_int_equal(t, 9110000000);
}

/* Through the log: as written with arrival times, read with fitted ones, the same in any reading. */
static void through_a_log(void **state)
{
    (void)state;
    static struct sample_block b;
    struct recording_info in = plain_info();
    in.clock = CLOCK_HOST;
    in.regular = false;
    struct memory m = {0};
    struct log_writer *w;
    struct log_write_opts o = {.write = memory_write, .user = &m, .host_time = true};
    assert_int_equal(log_writer_new(&w, &in, &o, NULL), TM_OK);
    uint64_t seed = 3;
    int64_t before = -1;
    for (int64_t k = 0; k < 9000; k++) {
        int64_t t = (k / 4 * 4 + 3) * 10000000 - 30000000 + (k % 4) * 50000 + (int64_t)(rnd(&seed) % 40000);
        if (t <= before)
            t = before + 1;
        before = t;
        log_write_host_time(w, 1772663403000000000 + t, 5000000000 + t);
        b.n = 1;
        b.channels = 3;
        b.t_ns[0] = t;
        b.v[CH_PAW][0] = 5;
        b.v[CH_FLOW][0] = 0;
        assert_int_equal(log_write_samples(w, &b), TM_OK);
    }
    assert_int_equal(log_write_close(w), TM_OK);
    log_writer_destroy(w);
    struct got g;
    read_memory(&g, m.data, m.n);
    assert_string_equal(g.heard.codes, "");
    assert_int_equal(g.n, 9000);
    assert_int_equal(g.gaps, 0);
    assert_false(g.info.regular);
    int64_t widest = 0;
    for (size_t i = 1; i < g.n; i++)
        if (g.sample[i].t_ns - g.sample[i - 1].t_ns > widest)
            widest = g.sample[i].t_ns - g.sample[i - 1].t_ns;
    assert_true(widest < 10400000); /* bursts of 40 ms became even steps */
    got_free(&g);
    memory_free(&m);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(near_the_truth),
        cmocka_unit_test(holes),
        cmocka_unit_test(through_a_log),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
