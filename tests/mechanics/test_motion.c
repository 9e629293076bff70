/* The equation of motion fitted to whole breaths: closed forms are returned, what can't be told is
 * not told, and breaths of a patient who works, or whose resistance comes out negative, are never
 * believed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/mechanics/motion.h"
#include "tests/engine/lung.h"

static struct motion_samples s;
static double work[MOTION_WORK];

static struct motion_limits limits(const struct lung *l) {
    struct motion_limits lim = {.e_max = l->infant ? 2500 : 200,
                                .r_max = l->infant ? 400 : 100,
                                .v_range_min_l = l->infant ? 0.008 : 0.08,
                                .pip_cmh2o = l->want_pip,
                                .peep_cmh2o = l->peep,
                                .q_sd_l_s = 0.002,
                                .a_heart_l_s = 0,
                                .effort_seen = false};
    return lim;
}

/* Mid-interval samples at 100 Hz (infant 200 Hz); volume by closed form would need the trapped gas:
 * its integral by Simpson over each half step is exact enough (1e-9). */
static void gather(const struct lung *l, double from, double to) {
    double h = l->infant ? 0.005 : 0.01, v = 0, p, q;
    memset(&s, 0, sizeof s);
    for (int k = 0; (k + 0.5) * h < lung_cycle_s(l); k++) {
        double at = (k + 0.5) * h;
        for (int j = 0; j < 20;
             j++) { /* midpoints of a twentieth: from k h to the next sample's start */
            double t = (k + (j + 0.5) / 20) * h;
            lung_at(l, t, &p, &q);
            if (j == 10 && at >= from && at < to) {
                double qm;
                lung_at(l, at, &p, &qm);
                s.t_s[s.n] = at;
                s.p[s.n] = p;
                s.q[s.n] = qm;
                s.v[s.n++] = v;
                lung_at(l, t, &p, &q);
            }
            v += q * h / 20;
        }
    }
    s.ti_s = l->ti + l->tip;
    s.ttot_s = lung_cycle_s(l);
    s.step_s = h;
}

static void closed_forms(void **state) {
    (void)state;
    for (int i = 0; i < LUNGS; i++) {
        const struct lung *l = &lungs[i];
        struct motion_limits lim = limits(l);
        struct motion_fit f;
        gather(l, 0, 1e9);
        motion_fit(&s, &lim, work, &f);
        double e = 1000 / l->c_ml, tol = 2e-3;
        /* An E over the limit would be fitted all the same, and not believed. */
        if (f.why != (e <= lim.e_max ? WHY_NONE : WHY_fit_poor)) {
            fail_msg("%s: believed or not: %s", l->name, reason_name(f.why));
        }
        if (!(fabs(f.e_cmh2o_l / e - 1) < tol && fabs(f.r_chord / l->ri - 1) < tol &&
              fabs(f.re_chord / l->re - 1) < tol &&
              fabs(f.p0_cmh2o - l->peep - l->want_auto) < 0.02)) {
            fail_msg("%s: E %g Ri %g Re %g P0 %g", l->name, f.e_cmh2o_l, f.r_chord, f.re_chord,
                     f.p0_cmh2o);
        }
    }
}

static void cannot_be_told(void **state) {
    (void)state;
    for (int i = 0; i < LUNGS; i++) {
        const struct lung *l = &lungs[i];
        struct motion_limits lim = limits(l);
        struct motion_fit f;
        static const int parts[] = {0, 1, 2};
        for (int k = 0; k < 3; k++) { /* inspiration alone, expiration alone, five samples */
            if (parts[k] == 2) {
                gather(l, 0, 1e9);
                s.n = 5;
            } else {
                gather(l, parts[k] ? l->ti + l->tip : 0, parts[k] ? 1e9 : l->ti);
            }
            motion_fit(&s, &lim, work, &f);
            if (f.why == WHY_NONE) {
                fail_msg("%s, part %d is believed", l->name, k);
            }
            if (f.why == WHY_fit_singular || f.why == WHY_breath_short) {
                assert_true(isnan(f.e_cmh2o_l) && isnan(f.p0_cmh2o));
            }
        }
    }
}

/* One compartment under pressure support whose patient draws, by Euler at 0.1 ms; mask: E 20, R 10,
 * and the mirror, where pressure is what flow makes at the mouth, negative in inspiration. */
static void work_of(double effort, double dp, double mask_r) {
    double v = 0, h = 1e-4;
    memset(&s, 0, sizeof s);
    for (int k = 0; k < 30000; k++) {
        double t = k * h, pmus = t < 0.9 ? effort * sin(3.14159265358979 * t / 0.9) : 0;
        double paw = 5 + (t >= 0.1 && t < 1.0 ? dp : 0);
        double q = (paw - 5 + pmus - 20 * v) / (10 + mask_r);
        if (k % 100 == 50) {
            s.t_s[s.n] = t;
            s.p[s.n] = paw - mask_r * q;
            s.q[s.n] = q;
            s.v[s.n++] = v;
        }
        v += q * h;
    }
    s.ti_s = 1.0;
    s.ttot_s = 3.0;
    s.step_s = 0.01;
}

static void effort_is_not_believed(void **state) {
    (void)state;
    static const double efforts[] = {5, 10};
    static const double supports[] = {0, 5, 10, 15};
    for (int i = 0; i < 2; i++) {
        for (int k = 0; k < 4; k++) {
            struct motion_limits lim = limits(&lungs[0]);
            struct motion_fit f;
            work_of(efforts[i], supports[k], 0);
            lim.pip_cmh2o = 5 + supports[k];
            motion_fit(&s, &lim, work, &f);
            assert_int_not_equal(f.why, WHY_NONE);
        }
    }
}

static void mirror_is_not_believed(void **state) {
    (void)state;
    for (int k = 0; k < 2; k++) {
        struct motion_limits lim = limits(&lungs[0]);
        struct motion_fit f;
        work_of(8, 0, k ? 1 : 3); /* the machine only resists: p = PEEP - R q */
        lim.pip_cmh2o = 8;
        motion_fit(&s, &lim, work, &f);
        assert_int_not_equal(f.why, WHY_NONE);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(closed_forms), cmocka_unit_test(cannot_be_told),
        cmocka_unit_test(effort_is_not_believed), cmocka_unit_test(mirror_is_not_believed)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
