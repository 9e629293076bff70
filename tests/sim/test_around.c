/* What surrounds the lung: nebuliser, sensor; the strata; random patients of every kind. */
#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fixtures/sim/case.h"
#include "fixtures/sim/strata.h"

static double mean_flow(const struct run *r, const struct true_breath *b) {
    double sum = 0;
    for (int64_t k = b->t0; k < b->t2; k++) {
        sum += trace_get(&r->sim.trace, k)->q_sensor;
    }
    return sum / (double)(b->t2 - b->t0);
}

/* 8 L/min behind the sensor: the sensor misses them, the truth does not; before it nobody sees any.
 */
static void nebuliser(void **state) {
    (void)state;
    static const char *const sides[] = {"machine", "patient"};
    for (int side = 0; side < 2; side++) {
        char text[200];
        snprintf(text, sizeof text,
                 "seconds 120\n0 set mode=vc trigger=none\n30 set neb_side=%s neb_l_s=0.1333\n"
                 "100 set neb_l_s=0\n",
                 sides[side]);
        struct run *r = run_script(text);
        assert_int_equal(r->sim.truth.n_events, 1);
        const struct true_event *ev = &r->sim.truth.events[0];
        assert_string_equal(ev->name, "nebulisation");
        assert_true(ev->start_s == 30 && ev->end_s == 100);
        for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
            const struct true_breath *b = &r->sim.truth.breaths[i];
            double t0 = truth_time(&r->sim.truth, b->t0);
            if (t0 > 60 && t0 < 90) {
                assert_true(fabs(b->vti_t_ml - b->vte_t_ml) < 2);
                assert_true(fabs(mean_flow(r, b) + (side ? 0.1333 : 0)) < 0.001);
                assert_string_equal(b->why, side ? "event" : "");
            } else if (t0 > 105 && b->t2 > 0) {
                assert_true(fabs(mean_flow(r, b)) < 0.001);
            }
        }
        run_free(r);
    }
}

static void sensor_limits(void **state) {
    (void)state;
    struct run *r = run_script("seconds 60\n0 set mode=vc dead_q=0.05 clip_q=0.4 clip_p=15\n");
    size_t zeros = 0, clipped = 0, high = 0;
    for (size_t i = 0; i < r->n; i++) {
        assert_true(r->q[i] == 0 || fabs(r->q[i]) > 0.05);
        assert_true(fabs(r->q[i]) <= 0.4 && r->p[i] <= 15);
        zeros += r->q[i] == 0;
        clipped += fabs(r->q[i]) == 0.4;
        high += r->p[i] == 15;
    }
    assert_true(zeros > r->n / 4 && clipped > 100 && high > 100);
    run_free(r);
}

static void strata(void **state) {
    (void)state;
    static const struct {
        const char *keys, *lung, *ward;
        bool exact;
    } of[] = {
        {"mode=vc", "ordinary", "volume control, passive", true},
        {"mode=pc drive_per_min=20 c_ml_cmh2o=20", "stiff", "pressure control, assisted", true},
        {"mode=ps drive_per_min=20 re_cmh2o_s_l=25", "obstructed", "pressure support", true},
        {"mode=cpap c2_ml_cmh2o=20 gain_q=1.03", "unequal", "unassisted at CPAP", false},
        {"mode=vc entrain_ratio=2 efl_s=2 c2_ml_cmh2o=20", "limited", "volume control, entrained",
         true},
        {"mode=two_level", "ordinary", "two-level, passive", true},
        {"mode=two_level high_s=4 low_s=0.6 drive_per_min=20", "ordinary",
         "two-level releases, unassisted", true},
        {"mode=two_level support_cmh2o=8 drive_per_min=20", "ordinary", "two-level, supported",
         true},
        {"mode=pc target_ml=400", "ordinary", "volume-targeted pressure control, passive", true},
        {"mode=vc mixed=1 drive_per_min=20", "ordinary", "mixed volume control, assisted", true},
        {"mode=ps apnoea_s=15", "ordinary", "pressure support with back-up", true},
        {"mode=vc curve_width_cmh2o=7 dead_q=0.01", "curved", "volume control, passive", false},
    };
    for (size_t i = 0; i < sizeof of / sizeof *of; i++) {
        char text[200], ward[64];
        struct params p;
        snprintf(text, sizeof text, "seconds 2\n0 set %s\n1 set efl_s=3\n", of[i].keys);
        struct run *r = run_script(text);
        strata_start(&r->script, &p);
        strata_ward(&p, ward, sizeof ward);
        assert_string_equal(strata_lung(&p, "adult"), of[i].lung);
        assert_string_equal(ward, of[i].ward);
        assert_int_equal(strata_exact_sensor(&r->script), of[i].exact);
        run_free(r);
    }
}

/* Whole breaths with sizes that such patients have; together they are of every kind. */
static void random_patients(void **state) {
    (void)state;
    size_t infants = 0, children = 0, forms[6] = {0}, tubes = 0, pushes = 0, entrained = 0,
           cuffs = 0;
    static const char *const names[] = {"limited", "unequal",  "recruiting",
                                        "curved",  "relaxing", "ordinary"};
    for (uint64_t seed = 5000; seed < 5120; seed++) {
        char *text = case_patient(seed, (enum stratum)(seed % 3), 60, "100");
        struct params p;
        assert_non_null(text);
        struct run *r = run_script(text);
        free(text);
        strata_start(&r->script, &p);
        const char *size = r->script.patient;
        infants += strcmp(size, "infant") == 0;
        children += strcmp(size, "child") == 0;
        for (int i = 0; i < 6; i++) {
            forms[i] += strcmp(strata_lung(&p, size), names[i]) == 0;
        }
        tubes += p.tube_k2 > 0;
        pushes += p.push_cmh2o > 0;
        entrained += p.entrain_ratio > 0;
        cuffs += p.cuff_k > 0;
        double most = strcmp(size, "infant") == 0 ? 120 : strcmp(size, "child") == 0 ? 600 : 2000;
        size_t whole = 0;
        for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
            const struct true_breath *b = &r->sim.truth.breaths[i];
            whole += b->scored;
            assert_true(!b->scored || (b->vti_ml < most && b->pip < 80 && b->efl_share >= 0 &&
                                       b->efl_share <= 1));
        }
        if (whole < 4) {
            fail_msg("patient %llu has %zu whole breaths", (unsigned long long)seed, whole);
        }
        run_free(r);
    }
    for (int i = 0; i < 6; i++) {
        assert_true(forms[i] >= 2);
    }
    assert_true(infants > 5 && children > 5 && tubes > 15 && pushes > 3 && entrained > 1 &&
                cuffs > 10);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nebuliser),
        cmocka_unit_test(sensor_limits),
        cmocka_unit_test(strata),
        cmocka_unit_test(random_patients),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
