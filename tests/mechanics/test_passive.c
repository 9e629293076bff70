/* What many passive breaths tell together, and what one tells under noise: constants that heart and noise don't pull apart, the
 * law of the leak, means over alike breaths. Truth: a lung integrated by its closed form between samples. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/breath/order.h"
#include "analyze/mechanics/leak_model.h"
#include "analyze/mechanics/output_error.h"
#include "analyze/mechanics/pool.h"

#define E_TRUE  20.0
#define RI_TRUE 12.0
#define RE_TRUE 16.0

static struct motion_samples s;
static double work[MOTION_WORK];
static uint64_t dice = 1;

static double uniform(void) {
    dice = dice * 6364136223846793005u + 1442695040888963407u;
    return (double)(dice >> 11) / 9007199254740992.0;
}

static double normal(void) {
    double sum = -6;
    for (int k = 0; k < 12; k++) {
        sum += uniform();
    }
    return sum;
}

/* Pressure control 5 to 17 cmH2O, 50 Hz; the heart is a pressure of heart_cmh2o at 1.3 Hz in the lung, k_leak sqrt(p) leaves
 * at the airway. The lung is stepped exactly under the mean pressure of 1 ms. */
static void passive(double heart_cmh2o, double q_sd, double k_leak) {
    static double v;
    double phase = 6.28 * uniform(), measured = 0, last = 0;
    v = 0;
    memset(&s, 0, sizeof s);
    for (int k = 0; k < 3000; k++) {
        double t = k * 0.001, p = t < 0.05 ? 5 + 12 * t / 0.05 : t < 1 ? 17 : t < 1.05 ? 17 - 12 * (t - 1) / 0.05 : 5;
        double drive = p - 5 + heart_cmh2o * sin(8.168 * t + phase) - E_TRUE * v, r = drive > 0 ? RI_TRUE : RE_TRUE;
        double q = drive / r;
        double out = q + k_leak * sqrt(p);
        measured += k ? 0.0005 * (out + last) : 0;
        last = out;
        if (k % 20 == 0) {
            s.t_s[s.n] = t;
            s.p[s.n] = p + 0.1 * normal();
            s.q[s.n] = out + q_sd * normal();
            s.v[s.n++] = measured;
        }
        v += drive / E_TRUE * (1 - exp(-0.001 * E_TRUE / r));
    }
    s.ti_s = 1.0;
    s.ttot_s = 3.0;
    s.step_s = 0.02;
}

/* Medians of 100 breaths under a heart of 4 L/min from peak to peak and 20 mL/s of noise. */
static void heart_does_not_pull(void **state) {
    (void)state;
    double e[100], ri[100], re[100];
    for (int k = 0; k < 100; k++) {
        struct motion_fit f;
        passive(0.4, 0.02, 0);
        motion_fit(&s, NULL, work, &f);
        assert_true(output_error(&s, work, &f));
        e[k] = f.e_cmh2o_l / E_TRUE;
        ri[k] = f.ri_cmh2o_s_l / RI_TRUE;
        re[k] = f.re_cmh2o_s_l / RE_TRUE;
    }
    double m_e = order_median(e, 100), m_ri = order_median(ri, 100), m_re = order_median(re, 100);
    if (!(fabs(m_e - 1) < 0.02 && fabs(m_ri - 1) < 0.03 && fabs(m_re - 1) < 0.03)) {
        fail_msg("E %.3f Ri %.3f Re %.3f", m_e, m_ri, m_re);
    }
}

/* Without noise both ways give the constants. */
static void agrees_with_least_squares(void **state) {
    (void)state;
    struct motion_fit f;
    passive(0, 0, 0);
    motion_fit(&s, NULL, work, &f);
    assert_true(fabs(f.e_cmh2o_l / E_TRUE - 1) < 0.03);
    assert_true(output_error(&s, work, &f));
    assert_true(fabs(f.e_cmh2o_l / E_TRUE - 1) < 0.02 && fabs(f.ri_cmh2o_s_l / RI_TRUE - 1) < 0.03 &&
                fabs(f.re_cmh2o_s_l / RE_TRUE - 1) < 0.03);
}

static void bad_starts_are_refused(void **state) {
    (void)state;
    struct motion_fit f = {.e_cmh2o_l = -3, .ri_cmh2o_s_l = 5, .re_cmh2o_s_l = 5};
    passive(0, 0, 0);
    assert_false(output_error(&s, work, &f));
    f.e_cmh2o_l = 20;
    f.ri_cmh2o_s_l = -1;
    assert_false(output_error(&s, work, &f));
    s.n = 5;
    f.ri_cmh2o_s_l = 10;
    assert_false(output_error(&s, work, &f));
}

/* A sixth of the volume leaks through an orifice: what is known of the breaths' sums takes it out. */
static void leak_is_taken_out(void **state) {
    (void)state;
    static struct leak_model m;
    struct ring r;
    assert_int_equal(ring_init(&r, 50, 60000000, 30), TM_OK);
    for (int breath = 0; breath < 8; breath++) {
        uint64_t from = r.end;
        passive(0, 0, 0.01);
        for (int k = 0; k < s.n; k++) {
            ring_push(&r, (int64_t)((breath * 3.0 + s.t_s[k]) * 1e9), s.p[k], s.q[k]);
        }
        struct seg_breath b = {.i0 = from, .i1 = from + 50, .i2 = r.end - 1};
        double net = s.v[s.n - 1] + 0.001 * (breath % 2 ? 1 : -1);
        leak_enter(&m, &r, &b, 5, 17, net, 0.6);
    }
    double before_v = s.v[s.n - 1];
    assert_true(before_v > 0.05);
    leak_take_out(&m, &s, true, work);
    assert_true(fabs(s.v[s.n - 1]) < 0.1 * before_v);
    struct motion_fit f;
    motion_fit(&s, NULL, work, &f);
    assert_true(fabs(f.e_cmh2o_l / E_TRUE - 1) < 0.05);
    ring_free(&r);
}

static void alike_breaths_are_shared(void **state) {
    (void)state;
    static struct pool p;
    struct pool_breath b = {.ti_s = 1, .vt_l = 0.5, .span_cmh2o = 12};
    struct pool_mean m = {.n = 0};
    struct motion_fit f = {.r_chord = 10, .re_chord = 12, .se_e = 0.01, .se_r = 0.01, .se_re = 0.01};
    for (int k = 0; k < 8; k++) {
        f.e_cmh2o_l = k % 2 ? 20 : 21;
        b.t0_ns += 3 * NS_PER_S;
        pool_enter(&p, b, &f, &m);
    }
    assert_int_equal(m.n, 8);
    assert_true(fabs(m.value[POOL_E] / sqrt(20.0 * 21.0) - 1) < 1e-9);
    assert_true(m.sd[POOL_E] > 0.005 && m.sd[POOL_E] < 0.02);
    b.vt_l = 0.8; /* another volume: not alike, nothing is borrowed */
    pool_enter(&p, b, &f, &m);
    assert_int_equal(m.n, 1);
    b.vt_l = 0.5;
    f.e_cmh2o_l = 30; /* the lung changed: the old ones are forgotten */
    pool_enter(&p, b, &f, &m);
    assert_int_equal(m.n, 1);
    assert_true(fabs(m.value[POOL_E] - 30) < 1e-9);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(heart_does_not_pull),    cmocka_unit_test(agrees_with_least_squares),
        cmocka_unit_test(bad_starts_are_refused), cmocka_unit_test(leak_is_taken_out),
        cmocka_unit_test(alike_breaths_are_shared),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
