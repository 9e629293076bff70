/* Efforts found in curves of closed form: how many there are, when they begin and end, how large they are. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "analyze/mechanics/effort.h"
#include "tests/mechanics/curve_drawn.h"

#define PI 3.14159265358979323846

static struct effort_curve curve;
static struct effort found[EFFORTS_MOST];
static const struct mechanics sure = {.quality = MECHANICS_GOOD, .source = SOURCE_FIT, .e_cmh2o_l = 20, .ri_cmh2o_s_l = 10, .re_cmh2o_s_l = 12};

static int find_with(const struct mechanics *m, double heart, double from_s, double to_s) {
    struct effort_limits lim = {.m = m, .heart_cmh2o = heart, .from_ns = curve_ns(from_s), .to_ns = curve_ns(to_s), .opens_ns = {-1, -1}, .turn_ns = -1};
    return effort_find(&curve, &lim, found);
}

static int find(void) {
    return find_with(&sure, 0, 0, 10);
}

static void near(double got, double want, double within, const char *what) {
    if (!(fabs(got - want) <= within))
        fail_msg("%s: %.3f instead of %.3f", what, got, want);
}

enum shape { SINE, RAMP, COSINE };

/* Peak, and where half of it is left: half-sine of 1 s; ramp of 0.8 s that lets go in 0.1 s; one period of a cosine in 1.2 s. */
static void draw(enum shape s, double at, double peak) {
    for (int k = 0; k < curve.n; k++) {
        double t = k * CURVE_STEP_S - at;
        if (s == SINE && t > 0 && t < 1)
            curve.p[k] += peak * sin(PI * t);
        if (s == RAMP && t > 0 && t < 0.9)
            curve.p[k] += peak * (t < 0.8 ? t / 0.8 : (0.9 - t) / 0.1);
        if (s == COSINE && t > 0 && t < 1.2)
            curve.p[k] += 0.5 * peak * (1 - cos(2 * PI * t / 1.2));
    }
}

static void shapes(void **state) {
    (void)state;
    static const struct {
        enum shape shape;
        double neural_s, late_s; /* how late its start may be found; a soft one has hardly begun by then */
    } row[] = {{SINE, 5.0 / 6, 0.03}, {RAMP, 0.85, 0.03}, {COSINE, 0.9, 0.12}};
    for (int i = 0; i < 3; i++)
        for (double at = 4; at < 4.02; at += 0.005) { /* wherever the grid falls */
            curve_flat(&curve);
            draw(row[i].shape, at, 6);
            assert_int_equal(find(), 1);
            near(curve_s(found[0].start_ns) - at, 0.5 * row[i].late_s, 0.5 * row[i].late_s + 0.01, "start");
            near(curve_s(found[0].neural_end_ns) - at, row[i].neural_s, 0.02, "neural end");
            near(found[0].peak_cmh2o, 6, row[i].shape == RAMP ? 0.15 : 0.02, "size"); /* a ramp's tip may lie between two points */
            assert_true(found[0].start_ns < found[0].peak_ns && found[0].peak_ns < found[0].neural_end_ns && found[0].neural_end_ns < found[0].end_ns);
            assert_int_equal(found[0].confidence, CONF_DEFINITE);
        }
}

/* Neither the constant nor a slow error of it counts. */
static void slow_errors(void **state) {
    (void)state;
    static const double per_s[] = {-0.5, 0, 0.5};
    for (int i = 0; i < 3; i++) {
        curve_flat(&curve);
        CURVE_ADD(&curve, {0, -8}, {10, -8 + 10 * per_s[i]});
        assert_int_equal(find(), 0);
        draw(SINE, 4, 6);
        assert_int_equal(find(), 1);
        near(found[0].peak_cmh2o, 6, 0.3, "size on a slope");
        near(curve_s(found[0].start_ns), 4, 0.06, "start on a slope");
    }
}

static void one_or_two(void **state) {
    (void)state;
    curve_flat(&curve); /* two humps of 6 cmH2O, over half of it left between them */
    CURVE_ADD(&curve, {4, 0}, {4.3, 6}, {4.5, 3.5}, {4.7, 6}, {4.9, 0});
    assert_int_equal(find(), 1);
    near(curve_s(found[0].start_ns), 4, 0.03, "start of two humps");
    near(curve_s(found[0].neural_end_ns), 4.8, 0.03, "end of two humps");
    curve_flat(&curve); /* rest of half a second between two */
    draw(SINE, 3, 6);
    draw(SINE, 4.5, 4);
    assert_int_equal(find(), 2);
    for (int i = 0; i < 2; i++) {
        near(curve_s(found[i].start_ns), 3 + 1.5 * i, 0.04, "start of one of two");
        near(curve_s(found[i].neural_end_ns), 3 + 1.5 * i + 5.0 / 6, 0.03, "end of one of two");
        near(found[i].peak_cmh2o, 6 - 2 * i, 0.1, "size of one of two");
    }
    curve_flat(&curve); /* five in ten seconds, in order */
    for (int i = 0; i < 5; i++)
        draw(RAMP, 1 + 1.7 * i, 5);
    assert_int_equal(find(), 5);
    for (int i = 1; i < 5; i++)
        assert_true(found[i].peak_ns > found[i - 1].peak_ns);
}

/* The least that counts: 1.5 cmH2O, 1.5 hearts, 2 standard deviations; more where constants were not fitted. */
static void least(void **state) {
    (void)state;
    static const struct {
        double peak, heart, sd_ln;
        enum mechanics_source source;
        int n;
    } row[] = {{1.4, 0, 0, SOURCE_FIT, 0},   {1.6, 0, 0, SOURCE_FIT, 1},   {2.9, 2, 0, SOURCE_FIT, 0}, {3.3, 2, 0, SOURCE_FIT, 1},
               {1.6, 0, 0, SOURCE_STEPS, 0}, {3.0, 0, 0, SOURCE_STEPS, 1}, {6, 0, 0.6, SOURCE_FIT, 0}, {6, 0, 0.4, SOURCE_FIT, 1}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        struct mechanics m = sure;
        m.source = row[i].source;
        m.sd_ln_e = row[i].sd_ln; /* of a curve without volume: its size is unsure by as much */
        curve_flat(&curve);
        draw(SINE, 4, row[i].peak);
        int n = find_with(&m, row[i].heart, 0, 10);
        if (n != row[i].n)
            fail_msg("%g cmH2O, heart %g, sd %g: %d efforts", row[i].peak, row[i].heart, row[i].sd_ln, n);
    }
    curve_flat(&curve); /* a spike of 0.08 s is none */
    CURVE_ADD(&curve, {4, 0}, {4.04, 8}, {4.08, 0});
    assert_int_equal(find(), 0);
    curve_flat(&curve); /* nor is a swell of 6 s: what stands out of it within the reach of an effort is a fraction */
    CURVE_ADD(&curve, {1, 0}, {4, 2.2}, {7, 0});
    assert_int_equal(find(), 0);
    curve_flat(&curve);
    draw(SINE, 4, 6); /* its peak stands at 4.5 s */
    assert_int_equal(find_with(&sure, 0, 0, 4.4), 0);
    assert_int_equal(find_with(&sure, 0, 4.6, 10), 0);
    assert_int_equal(find_with(&sure, 0, 4.4, 4.6), 1);
}

static void definite_or_possible(void **state) {
    (void)state;
    struct mechanics m = sure;
    curve_flat(&curve);
    draw(SINE, 4, 2.3);
    assert_int_equal(find(), 1);
    assert_int_equal(found[0].confidence, CONF_POSSIBLE);
    curve_flat(&curve);
    draw(SINE, 4, 2.7);
    assert_int_equal(find(), 1);
    assert_int_equal(found[0].confidence, CONF_DEFINITE);
    assert_int_equal(find_with(&sure, 1.5, 0, 10), 1); /* under two hearts */
    assert_int_equal(found[0].confidence, CONF_POSSIBLE);
    m.quality = MECHANICS_POOR;
    assert_int_equal(find_with(&m, 0, 0, 10), 1);
    assert_int_equal(found[0].confidence, CONF_POSSIBLE);
}

/* A heart is in every second, a straight line is not taken for one. A line through a second of a sine takes a little of it, by where
 * it is cut: NumPy's polyfit leaves 0.85 to 1.09 of its range from 1 to 3 Hz. */
static void quiet(void **state) {
    (void)state;
    for (double hz = 1; hz < 3.05; hz += 0.25) {
        curve_flat(&curve);
        for (int k = 0; k < curve.n; k++)
            curve.p[k] = 3 * k * CURVE_STEP_S + 0.75 * sin(2 * PI * hz * k * CURVE_STEP_S);
        double range = effort_quiet(&curve, curve_ns(2), curve_ns(7));
        if (!(range > 0.84 * 1.5 && range < 1.09 * 1.5))
            fail_msg("%g Hz: %.3f", hz, range);
        draw(SINE, 3, 6); /* an effort is not in every second */
        near(effort_quiet(&curve, curve_ns(2), curve_ns(7)), range, 0.12, "quiet beside an effort");
    }
    curve_flat(&curve);
    near(effort_quiet(&curve, curve_ns(2), curve_ns(7)), 0, 1e-9, "quiet of nothing");
    assert_true(isnan(effort_quiet(&curve, curve_ns(2), curve_ns(2.9)))); /* no second fits */
    curve.pace = 0.5;
    assert_true(effort_quiet(&curve, curve_ns(2), curve_ns(2.9)) >= 0); /* an infant's heart is twice as fast */
}

/* A valve's step is bridged by a straight line, 0.05 s before to 0.12 s after it. */
static void bridge(void **state) {
    (void)state;
    curve_flat(&curve);
    CURVE_ADD(&curve, {0, 0}, {10, 10});
    CURVE_ADD(&curve, {3.99, 0}, {4, 7}, {4.08, -5}, {4.1, 0});
    int64_t at = curve_ns(4);
    effort_bridge(&curve, &at, 1);
    for (int k = 0; k < curve.n; k++)
        near(curve.p[k], k * CURVE_STEP_S, 1e-9, "bridged");
    at = curve_ns(9.95); /* nothing to bridge to */
    effort_bridge(&curve, &at, 1);
    near(curve.p[curve.n - 1], (curve.n - 1) * CURVE_STEP_S, 1e-9, "end");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shapes),               cmocka_unit_test(slow_errors), cmocka_unit_test(one_or_two), cmocka_unit_test(least),
        cmocka_unit_test(definite_or_possible), cmocka_unit_test(quiet),       cmocka_unit_test(bridge),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
