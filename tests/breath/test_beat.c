/* The heartbeat before a breath: a sine of known phase in a resting flow, and what is none. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "analyze/breath/beat.h"

#define RATE 100.0
#define T0_S 4.0
#define PI   3.14159265358979323846

/* Rest from 1 s on with a heart of 72 a minute and 0.02 L/s, whose last maximum lies `before` ahead of t0. */
static struct beat read_at(double before_s, double size_l_s, double from_s)
{
    struct ring r;
    assert_int_equal(ring_init(&r, RATE, INT64_C(15000000), 30), TM_OK);
    int n = (int)(T0_S * RATE);
    for (int i = 0; i <= n + 20; i++) {
        double t = i / RATE;
        ring_push(&r, (int64_t)(i * 1e9 / RATE), 5, size_l_s * cos(2 * PI * 1.2 * (t - (T0_S - before_s))));
    }
    const struct seg_breath b = {.i0 = (uint64_t)n, .t0_ns = (int64_t)(T0_S * 1e9)};
    struct beat out;
    beat_before(&r, (int64_t)(from_s * 1e9), &b, 0.005, &out);
    ring_free(&r);
    return out;
}

/* Closed form: the filter's answer to a sine has its phase, and 1 - cos(2 pi f 0.25) times its size, less the means of 40 ms. */
static void sine(void **state)
{
    (void)state;
    for (double before = 0.35; before < 1.1; before += 0.15) {
        struct beat x = read_at(before, 0.02, 1);
        assert_true(fabs(x.before_s - before) < 0.021 || fabs(x.before_s - (before - 1 / 1.2)) < 0.021);
        assert_true(fabs(x.size_l_s - 0.02 * (1 - cos(2 * PI * 1.2 * 0.25))) < 0.001);
    }
}

static void none(void **state)
{
    (void)state;
    assert_true(isnan(read_at(0.5, 0.001, 1).before_s)); /* too small */
    assert_true(isnan(read_at(0.5, 0.02, 3).before_s));  /* expiration began too late */
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(sine), cmocka_unit_test(none)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
