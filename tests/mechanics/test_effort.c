/* The tracker's food and age, the valve steps' scale, and efforts in a curve: truth from closed forms and from a supported
 * lung integrated at 1 ms. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/mechanics/effort.h"
#include "analyze/mechanics/steps.h"

#define SECOND NS_PER_S
#define E_TRUE 20.0
#define R_TRUE 10.0

static struct motion_fit fit = {.ri_cmh2o_s_l = 10, .re_cmh2o_s_l = 12, .r_chord = 10, .re_chord = 12, .smooth = 0.1};

static void feed(struct tracker *t, double e, int64_t now) {
    struct pool_mean m = {.value = {e, 10, 12}, .sd = {0.01, 0.01, 0.01}, .n = 8};
    tracker_breath(t);
    tracker_fit(t, &fit, &m, now);
}

static void tracker_ages(void **state) {
    (void)state;
    struct tracker t;
    struct mechanics m;
    tracker_init(&t);
    tracker_now(&t, 0, 0, &m);
    assert_int_equal(m.quality, MECHANICS_NONE);
    feed(&t, 20, 10 * SECOND);
    tracker_now(&t, 11 * SECOND, 0, &m);
    assert_int_equal(m.quality, MECHANICS_GOOD);
    assert_true(fabs(m.e_cmh2o_l - 20) < 1e-12 && fabs(m.sd_ln_e - 0.05) < 1e-12 && fabs(m.age_s - 1) < 1e-9);
    for (int k = 0; k < 208; k++) { /* asynchrony's own worked figure: 0.10 after 208 breaths */
        tracker_breath(&t);
    }
    tracker_now(&t, 400 * SECOND, 0, &m);
    assert_true(fabs(m.sd_ln_e - 0.10) < 1e-3);
    tracker_now(&t, 400 * SECOND, 15, &m);
    assert_int_equal(m.quality, MECHANICS_FAIR);
    tracker_reset(&t, 401 * SECOND);
    tracker_now(&t, 402 * SECOND, 0, &m);
    assert_int_equal(m.quality, MECHANICS_POOR);
    assert_true(fabs(m.sd_ln_e - 0.30) < 1e-12);
}

/* A value far off is refused; ten in a row are a change. */
static void tracker_gates(void **state) {
    (void)state;
    struct tracker t;
    struct mechanics m;
    tracker_init(&t);
    for (int k = 0; k < 5; k++) {
        feed(&t, 20, k * SECOND);
    }
    feed(&t, 10, 6 * SECOND);
    tracker_now(&t, 6 * SECOND, 0, &m);
    assert_true(fabs(m.e_cmh2o_l - 20) < 1e-9);
    for (int k = 0; k < 9; k++) {
        feed(&t, 10, (7 + k) * SECOND);
    }
    tracker_now(&t, 20 * SECOND, 0, &m);
    assert_true(fabs(m.e_cmh2o_l - 10) < 1e-9);
}

static void holds_and_steps(void **state) {
    (void)state;
    struct tracker t;
    struct mechanics m;
    tracker_init(&t);
    tracker_steps(&t, 25, 9, 0.1, true);
    tracker_now(&t, 0, 0, &m);
    assert_int_equal(m.source, SOURCE_STEPS);
    assert_int_equal(m.quality, MECHANICS_FAIR);
    tracker_steps(&t, 25, 9, 0.1, false);
    tracker_now(&t, 0, 0, &m);
    assert_int_equal(m.quality, MECHANICS_POOR);
    tracker_hold(&t, 18, 11, 5 * SECOND);
    tracker_now(&t, 6 * SECOND, 0, &m);
    assert_int_equal(m.source, SOURCE_HOLD);
    assert_true(fabs(m.e_cmh2o_l - 18) < 1e-12 && fabs(m.ri_cmh2o_s_l - 11) < 1e-12);
    feed(&t, 22, 7 * SECOND); /* the fit leads */
    tracker_hold(&t, 18, 11, 8 * SECOND);
    tracker_now(&t, 9 * SECOND, 0, &m);
    assert_int_equal(m.source, SOURCE_FIT);
    assert_true(fabs(m.e_cmh2o_l - 22) < 1e-9);
}

/* Pressure support of 10 over 5 cmH2O from 0.15 s after an effort's start to its end; the limb has 3 cmH2O s/L. */
static void supported(struct ring *r, int breaths, double effort, double period_s) {
    double v = 0, p = 5;
    for (int64_t k = 0; k < (int64_t)(breaths * period_s * 1000); k++) {
        double t = fmod((double)k * 0.001, period_s) - 0.5; /* the effort starts at 0 */
        double pmus = t < 0 ? 0 : t < 0.8 ? effort * sin(1.5707963 * t / 0.8) : fmax(0, effort * (1 - (t - 0.8) / 0.1));
        bool on = t > 0.15 && t < 0.9;
        double q = (p - 5 + pmus - E_TRUE * v) / R_TRUE, want = on ? 15 : 5 - 3 * fmin(q, 0);
        p += 0.001 / 0.03 * (want - p);
        if (k % 10 == 0) {
            ring_push(r, k * 1000000, p, q);
        }
        v += 0.001 * q;
    }
}

static struct seg_breath breath_at(const struct ring *r, int n, double period_s) {
    struct seg_breath b = {.machine = true, .complete = true, .has_t1 = true};
    b.t0_ns = (int64_t)((n * period_s + 0.65) * 1e9);
    b.t1_ns = (int64_t)((n * period_s + 1.40) * 1e9);
    b.t2_ns = (int64_t)(((n + 1) * period_s + 0.65) * 1e9);
    b.i0 = ring_find(r, ring_first(r), r->end, b.t0_ns);
    b.i1 = ring_find(r, ring_first(r), r->end, b.t1_ns);
    b.i2 = ring_find(r, ring_first(r), r->end, b.t2_ns);
    return b;
}

/* E within 20 %, as asynchrony's trials say of the median. */
static void steps_give_scale(void **state) {
    (void)state;
    struct ring r;
    static struct steps s;
    struct steps_now now;
    assert_int_equal(ring_init(&r, 100, 20000000, 120), TM_OK);
    supported(&r, 25, 6, 4);
    for (int k = 0; k < 24; k++) {
        struct seg_breath b = breath_at(&r, k, 4);
        steps_breath(&s, &r, &b, 0, 0.002);
    }
    steps_now(&s, &now);
    if (!(fabs(now.e_cmh2o_l / E_TRUE - 1) < 0.25 && fabs(now.r_cmh2o_s_l / R_TRUE - 1) < 0.25 &&
          fabs(now.tau_s / ((R_TRUE + 3) / E_TRUE) - 1) < 0.1)) {
        fail_msg("E %.2f R %.2f tau %.3f", now.e_cmh2o_l, now.r_cmh2o_s_l, now.tau_s);
    }
    ring_free(&r);
}

/* Times within 80 and 120 ms, sizes within two standard deviations, with constants 10 % off; none in a passive lung. */
static void efforts_are_found(void **state) {
    (void)state;
    static struct effort_curve c;
    for (int passive = 0; passive < 2; passive++) {
        struct ring r;
        assert_int_equal(ring_init(&r, 100, 20000000, 60), TM_OK);
        supported(&r, 6, passive ? 0 : 6, 4);
        struct mechanics m = {.quality = MECHANICS_GOOD, .source = SOURCE_FIT, .e_cmh2o_l = 1.1 * E_TRUE,
                              .ri_cmh2o_s_l = 0.9 * R_TRUE, .re_cmh2o_s_l = 0.9 * R_TRUE, .sd_ln_e = 0.1, .sd_ln_r = 0.1};
        struct leak_law_now none = {.law = LEAK_EVEN};
        struct seg_breath b = breath_at(&r, 2, 4), next = breath_at(&r, 3, 4);
        effort_curve(&r, ring_find(&r, 0, r.end, b.t0_ns - 2 * SECOND), ring_find(&r, 0, r.end, b.t2_ns + 2 * SECOND), &m, 0,
                     &none, 1, &c);
        int64_t valves[] = {b.t0_ns, b.t1_ns, next.t0_ns, next.t1_ns};
        effort_bridge(&c, valves, 4);
        struct effort_limits lim = {.m = &m, .noise_cmh2o = 0.05, .from_ns = b.t0_ns, .to_ns = b.t2_ns,
                                    .opens_ns = {b.t0_ns, next.t0_ns}, .turn_ns = b.t1_ns};
        struct effort found[EFFORTS_MOST];
        int n = effort_find(&c, &lim, found);
        assert_int_equal(n, passive ? 0 : 1);
        if (!passive) {
            double on = (double)found[0].start_ns * 1e-9 - 8.5, off = (double)found[0].neural_end_ns * 1e-9 - 9.35;
            if (!(fabs(on) < 0.08 && fabs(off) < 0.12 && fabs(found[0].peak_cmh2o - 6) < 2 * found[0].sd_cmh2o)) {
                fail_msg("start %+.3f end %+.3f peak %.2f sd %.2f", on, off, found[0].peak_cmh2o, found[0].sd_cmh2o);
            }
        }
        ring_free(&r);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tracker_ages),     cmocka_unit_test(tracker_gates),     cmocka_unit_test(holds_and_steps),
        cmocka_unit_test(steps_give_scale), cmocka_unit_test(efforts_are_found),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
