/* Overshoot: pressures of closed form. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "analyze/breath/overshoot.h"

#define T0 1.0
#define FOOT 5.0

typedef double curve(double t, double ti);

static struct seg_breath breath(const struct ring *r, double ti) {
    struct seg_breath b = {.machine = true, .complete = true, .has_t1 = true, .p_foot = FOOT};
    b.t0_ns = (int64_t)(T0 * 1e9);
    b.t1_ns = (int64_t)((T0 + ti) * 1e9);
    b.t2_ns = (int64_t)((T0 + ti + 2) * 1e9);
    b.i0 = ring_find(r, ring_first(r), r->end, b.t0_ns);
    b.i1 = ring_find(r, ring_first(r), r->end, b.t1_ns);
    b.i2 = ring_find(r, ring_first(r), r->end, b.t2_ns);
    return b;
}

static void fill(struct ring *r, curve *p, double rate, double ti) {
    assert_int_equal(ring_init(r, rate, INT64_C(100000000), 30), TM_OK);
    for (int k = 0; k < (int)(4 * rate); k++) {
        double t = k / rate - T0;
        ring_push(r, (int64_t)floor(k * 1e9 / rate + 0.5), t < 0 || t > ti ? FOOT : p(t, ti), t < 0 ? 0 : t > ti ? -0.5 : 1 - 0.5 * t);
    }
}

static struct overshoot read_of(curve *p, double rate, double ti) {
    struct ring r;
    struct overshoot x;
    fill(&r, p, rate, ti);
    struct seg_breath b = breath(&r, ti);
    overshoot_read(&r, &b, &x);
    ring_free(&r);
    return x;
}

static double square(double t, double ti) {
    (void)t, (void)ti;
    return 20;
}

/* 0.1 s of 6 cmH2O more. */
static double block(double t, double ti) {
    return square(t, ti) + (t > 0.045 && t < 0.155 ? 6 : 0);
}

/* One sample of 100 Hz. */
static double click(double t, double ti) {
    return square(t, ti) + (t > 0.095 && t < 0.105 ? 6 : 0);
}

static double late(double t, double ti) {
    return square(t, ti) + (t > 0.85 * ti ? 6 : 0);
}

static double ramp(double t, double ti) {
    return 8 + 12 * t / ti;
}

/* Second order, damping 0.4, 25 rad/s: passes its target by exp(-pi 0.4 / sqrt(1 - 0.16)) = 25.4 % at pi / 22.9 = 0.137 s
 * (Ogata, Modern Control Engineering, step response of a second-order system; from memory). */
static double ringing(double t, double ti) {
    (void)ti;
    double z = 0.4, w = 25, wd = w * sqrt(1 - z * z);
    return FOOT + 15 * (1 - exp(-z * w * t) * (cos(wd * t) + z * w / wd * sin(wd * t)));
}

static void near(double got, double want, double within, const char *what) {
    if (!(fabs(got - want) <= within))
        fail_msg("%s: %.3f instead of %.3f", what, got, want);
}

static void closed_forms(void **state) {
    (void)state;
    struct overshoot x = read_of(block, 100, 1);
    near(x.over_cmh2o, 6, 1e-9, "block");
    near(x.plateau_cmh2o, 20, 1e-9, "its plateau");
    near(x.plateau_s, 0.4, 0.011, "40 to 80 % of 1 s");
    near(x.foot_cmh2o, FOOT, 1e-9, "foot");
    near((double)x.at_ns * 1e-9, T0 + 0.05, 0.011, "where");
    near(x.peak_flow_l_s, 1 - 0.5 * 0.06, 0.011, "flow there");
    near(read_of(square, 100, 1).over_cmh2o, 0, 1e-9, "square");
    near(read_of(click, 100, 1).over_cmh2o, 3, 1e-9, "a click, mean of 20 ms");
    near(read_of(late, 100, 1).over_cmh2o, 0, 1e-9, "a late rise");
    assert_true(read_of(ramp, 100, 1).over_cmh2o < -2); /* volume control: up to the end */
    static const double rate[] = {25, 50, 100, 200, 400};
    for (int i = 0; i < 5; i++) {
        x = read_of(ringing, rate[i], 1.2);
        near(x.over_cmh2o, 15 * 0.2538, rate[i] < 100 ? 0.5 : 0.1, "second order"); /* two samples beside a round top are lower */
        near(x.plateau_cmh2o, 20, 0.05, "its target");
        near((double)x.at_ns * 1e-9, T0 + 0.137, 1 / rate[i] + 0.02, "its peak");
    }
    x = read_of(block, 200, 0.4); /* short: plateau from where the peak has passed */
    near(x.over_cmh2o, 6, 0.7, "a short one");
}

static void unread(void **state) {
    (void)state;
    struct ring r;
    struct overshoot x;
    fill(&r, block, 100, 1);
    for (int i = 0; i < 4; i++) {
        struct seg_breath b = breath(&r, i == 2 ? 0.1 : 1);
        b.machine = i != 0;
        b.has_t1 = i != 1;
        overshoot_read(&r, &b, &x);
        assert_true(i == 3 ? x.over_cmh2o > 5 : isnan(x.over_cmh2o) && isnan(x.plateau_cmh2o));
    }
    ring_free(&r);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(closed_forms), cmocka_unit_test(unread)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
