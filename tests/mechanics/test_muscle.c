/* What a breath's muscle pressure says beside its efforts, of curves of closed form: means by the rule of the trapezium, pushes that
 * are known, and what is none. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "analyze/mechanics/muscle.h"
#include "tests/mechanics/curve_drawn.h"

#define T0 3.0
#define T1 4.0
#define T2 8.0

static struct effort_curve curve;
static const struct mechanics sure = {.quality = MECHANICS_GOOD, .source = SOURCE_FIT, .e_cmh2o_l = 20, .ri_cmh2o_s_l = 10, .re_cmh2o_s_l = 12};

static struct effort effort_of(double start_s, double neural_end_s, double peak) {
    return (struct effort){.start_ns = curve_ns(start_s), .neural_end_ns = curve_ns(neural_end_s), .end_ns = curve_ns(neural_end_s + 0.1),
                           .peak_cmh2o = peak};
}

static struct muscle read_with(const struct mechanics *m, double heart, double t1_s, const struct effort *e, int n) {
    struct effort_limits lim = {.m = m, .heart_cmh2o = heart};
    struct muscle_in in = {.curve = &curve, .lim = &lim, .t0_ns = curve_ns(T0), .t1_ns = curve_ns(t1_s), .t2_ns = curve_ns(T2),
                           .efforts = e, .n = n};
    struct muscle out;
    muscle_read(&in, &out);
    assert_true(out.read);
    return out;
}

static struct muscle plain(const struct effort *e, int n) {
    return read_with(&sure, 0, T1, e, n);
}

static void near(double got, double want, double within, const char *what) {
    if (!(fabs(got - want) <= within))
        fail_msg("%s: %.3f instead of %.3f", what, got, want);
}

static void inspirations(void **state) {
    (void)state;
    struct effort own = effort_of(2.9, 4.05, 6);
    for (int up = 0; up < 2; up++) { /* known up to a constant: none matters */
        curve_flat(&curve);
        CURVE_ADD(&curve, {0, up ? 7 : 0});
        CURVE_ADD(&curve, {2.9, 0}, {3.0, 6}, {4.0, 6}, {4.1, 0});
        struct muscle x = plain(&own, 1);
        near(x.mid_cmh2o, 6, 1e-9, "mid of a plateau");
        near(x.after_cmh2o, 6, 1e-9, "after of a plateau");
        near(x.mid_sd, 0, 1e-9, "nothing is unsure");
    }
    curve_flat(&curve); /* a ramp that begins with the inflation: its middle half has half of it, 0.15 to 0.35 s a quarter */
    CURVE_ADD(&curve, {3.0, 0}, {4.0, 8}, {4.1, 0});
    own = effort_of(3.0, 4.05, 8);
    struct muscle x = plain(&own, 1);
    near(x.mid_cmh2o, 4, 0.1, "mid of a ramp");
    near(x.after_cmh2o, 2, 0.1, "after of a ramp");
    curve_flat(&curve);
    x = plain(NULL, 0);
    near(x.mid_cmh2o, 0, 1e-9, "mid of nothing");
    near(x.after_cmh2o, 0, 1e-9, "after of nothing");
    curve_flat(&curve); /* a heartbeat that fired the trigger has passed when it is looked for */
    CURVE_ADD(&curve, {2.9, 0}, {3.0, 2}, {3.1, 0});
    near(plain(NULL, 0).after_cmh2o, 0, 1e-9, "after of a heartbeat");
    curve_flat(&curve); /* an infant's times are half: 0.075 to 0.175 s */
    curve.pace = 0.5;
    CURVE_ADD(&curve, {3.0, 0}, {3.5, 8}, {4.1, 0});
    near(plain(NULL, 0).after_cmh2o, 2, 0.2, "after of an infant");
}

/* E over 0.25 L: 20 * 0.25 * 0.1; R over 0.5 L/s: 10 * 0.5 * 0.2; what is scaled wrong as a whole: 0.1 * 6; misfit; 0.3 hearts. */
static void uncertainty(void **state) {
    (void)state;
    struct mechanics m = sure;
    m.sd_ln_e = 0.1, m.sd_ln_r = 0.2, m.misfit_cmh2o = 0.3;
    curve_flat(&curve);
    CURVE_ADD(&curve, {2.9, 0}, {3.0, 6}, {4.0, 6}, {4.1, 0});
    for (int k = 0; k < CURVE_N; k++) {
        double t = k * CURVE_STEP_S;
        curve.q[k] = t >= T0 && t < T1 ? 0.5 : 0;
        curve.v[k] = t < T0 ? 0 : fmin(0.5 * (t - T0), 0.5);
    }
    struct effort own = effort_of(2.9, 4.05, 6);
    struct muscle x = read_with(&m, 2, T1, &own, 1);
    near(x.mid_sd, sqrt(0.5 * 0.5 + 1 + 0.6 * 0.6 + 0.3 * 0.3 + 0.6 * 0.6), 0.02, "sd of the middle");
    assert_true(x.heart_cmh2o == 2 && x.quality == MECHANICS_GOOD && x.source == SOURCE_FIT);
}

static void too_short(void **state) {
    (void)state;
    curve_flat(&curve);
    struct muscle x = read_with(&sure, 0, T0 + 0.30, NULL, 0);
    assert_true(isnan(x.after_cmh2o) && !isnan(x.mid_cmh2o));
    x = read_with(&sure, 0, T0 + 0.10, NULL, 0);
    assert_true(isnan(x.after_cmh2o) && isnan(x.mid_cmh2o));
    x = read_with(&sure, 0, T2 - 0.4, NULL, 0); /* no expiration to speak of */
    assert_true(isnan(x.push_cmh2o) && isnan(x.push_s));
    curve.n = (int)((T2 - 1) / CURVE_STEP_S); /* the curve ends before the breath */
    assert_true(isnan(plain(NULL, 0).push_cmh2o));
}

static void pushes(void **state) {
    (void)state;
    static const double depth[] = {1, 3, 9};
    for (int i = 0; i < 3; i++) {
        curve_flat(&curve);
        CURVE_ADD(&curve, {5.0, 0}, {5.1, -depth[i]}, {6.2, -depth[i]}, {6.3, 0});
        struct muscle x = plain(NULL, 0);
        near(x.push_cmh2o, depth[i], 1e-9, "push");
        near(x.push_s, 1.2, 0.041, "from half down to half up");
        near(curve_s(x.push_ns), 5.05, 0.041, "where that begins");
    }
    curve_flat(&curve); /* held into the next inspiration */
    CURVE_ADD(&curve, {6.0, 0}, {6.1, -5}, {7.99, -5}, {8.1, 0});
    struct muscle x = plain(NULL, 0);
    near(x.push_cmh2o, 5, 1e-9, "push that is held");
    assert_true(x.push_s > 1.8 && x.push_s < 2);
    curve_flat(&curve); /* too short for a mean of 0.15 s: 0.08 s at the bottom, 0.1 s wide at half */
    CURVE_ADD(&curve, {6.0, 0}, {6.02, -5}, {6.1, -5}, {6.12, 0});
    assert_true(plain(NULL, 0).push_cmh2o < 4);
}

static void no_pushes(void **state) {
    (void)state;
    curve_flat(&curve);
    near(plain(NULL, 0).push_cmh2o, 0, 1e-9, "push of nothing");
    /* an ineffective effort falls to where it rose from, no further */
    CURVE_ADD(&curve, {5.0, 0}, {5.5, 6}, {5.65, 0});
    struct effort e = effort_of(5.0, 5.57, 6);
    near(plain(&e, 1).push_cmh2o, 0, 1e-9, "push of an effort");
    near(plain(NULL, 0).push_cmh2o, 0, 1e-9, "push of an effort that nobody found");
    /* the breath's own effort that lets go after the inflation: 0.3 s from its start to nothing */
    curve_flat(&curve);
    CURVE_ADD(&curve, {2.9, 0}, {4.0, 8}, {4.3, 0});
    e = effort_of(2.9, 4.15, 8);
    assert_true(plain(&e, 1).push_cmh2o < 0.2);
    /* drift, as of a wrong elastance: 1 cmH2O/s is 0.375 cmH2O from a point to the mean of 0.3 to 0.45 s later */
    curve_flat(&curve);
    CURVE_ADD(&curve, {0, 4}, {10, -6});
    near(plain(NULL, 0).push_cmh2o, 0.375, 0.03, "push of a drift");
    curve_flat(&curve);
    CURVE_ADD(&curve, {0, -6}, {10, 4});
    assert_true(plain(NULL, 0).push_cmh2o < 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(inspirations), cmocka_unit_test(uncertainty), cmocka_unit_test(too_short),
        cmocka_unit_test(pushes),       cmocka_unit_test(no_pushes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
