/* Each pattern of the truth by cases made by hand, both ways: what is it, what is not, and what
 * lies between. Definitions: fixtures/sim/README.md, "Patterns"; bands are common practice, no
 * source. */
#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* The label of the breath in which t_s lies. */
static int label_at(const struct run *r, double t_s, enum pattern p) {
    const struct truth *t = &r->sim.truth;
    for (size_t i = 0; i < t->n_breaths; i++) {
        const struct true_breath *b = &t->breaths[i];
        if (truth_time(t, b->t0) <= t_s && truth_time(t, b->t2) > t_s) {
            assert_true(b->scored);
            return b->label[p];
        }
    }
    fail_msg("no breath at %.3f", t_s);
    return LABEL_OPEN;
}

static int label(const char *text, double t_s, enum pattern p) {
    struct run *r = run_script(text);
    int found = label_at(r, t_s, p);
    run_free(r);
    return found;
}

/* Clocked breaths at 0, 5, 10, ... s; the efforts stand in between, the last one just before. */
static void ineffective_effort(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 60\n0 set mode=vc rate_per_min=12 trigger=none\n11 effort peak=5\n"
                   "16 effort peak=1.5\n21 effort peak=0.8\n29.8 effort peak=6 seconds=0.5\n");
    static const int wanted[] = {LABEL_IS, LABEL_OPEN, LABEL_IS_NOT, LABEL_IS_NOT};
    static const double at_s[] = {11.1, 16.1, 21.1, 29.85};
    for (int i = 0; i < 4; i++) {
        assert_int_equal(r->sim.truth.efforts[i].ineffective, wanted[i]);
        assert_int_equal(label_at(r, at_s[i], PATTERN_ineffective_effort), wanted[i]);
    }
    assert_int_equal(label_at(r, 40, PATTERN_ineffective_effort), LABEL_IS_NOT);
    run_free(r);
    /* One that starts in an inspiration of the clock's is ineffective too. */
    r = run_script("seconds 30\n0 set mode=vc rate_per_min=12 trigger=none\n10.3 effort peak=5\n");
    assert_int_equal(r->sim.truth.efforts[0].ineffective, LABEL_IS);
    run_free(r);
}

static void double_trigger(void **state) {
    (void)state;
    static const char form[] = "seconds 30\n0 set mode=vc rate_per_min=6 tif_s=0.4 vt_ml=250 "
                               "refractory_s=0.05\n12 effort peak=%d seconds=%g\n";
    char text[300];
    snprintf(text, sizeof text, form, 14, 1.4); /* draws on long after the machine has ended */
    struct run *r = run_script(text);
    const struct truth *t = &r->sim.truth;
    size_t i = 0;
    while (truth_time(t, t->breaths[i].t0) < 12) {
        i++;
    }
    assert_true(truth_time(t, t->breaths[i + 1].t0) < 13.5);
    assert_int_equal(t->breaths[i].label[PATTERN_double_trigger], LABEL_IS_NOT);
    assert_int_equal(t->breaths[i + 1].label[PATTERN_double_trigger], LABEL_IS);
    run_free(r);
    snprintf(text, sizeof text, form, 6, 0.4);
    r = run_script(text);
    for (size_t k = 0; k < r->sim.truth.n_breaths; k++) {
        const struct true_breath *b = &r->sim.truth.breaths[k];
        assert_true(!b->scored || b->label[PATTERN_double_trigger] == LABEL_IS_NOT);
    }
    run_free(r);
}

/* A leak that opens at once triggers without any effort. */
static void auto_trigger(void **state) {
    (void)state;
    struct run *r = run_script("seconds 40\n0 set mode=ps dp_cmh2o=10 trig_flow_l_s=0.1\n10 effort peak=6\n"
                               "20 set leak_k=0.08\n");
    const struct truth *t = &r->sim.truth;
    assert_int_equal(label_at(r, 11, PATTERN_auto_trigger), LABEL_IS_NOT);
    assert_true(label_at(r, 21, PATTERN_auto_trigger) == LABEL_IS);
    assert_true(t->n_breaths >= 2);
    run_free(r);
    assert_int_equal(label("seconds 30\n0 set mode=vc\n", 15, PATTERN_auto_trigger), LABEL_IS_NOT);
}

/* Efforts at given delays after each clocked breath of a run. */
static struct run *entrained(const double *delay_s, int n, int every) {
    char text[2000];
    int used = snprintf(text, sizeof text,
                        "seconds 120\nwarmup 20\n0 set mode=vc rate_per_min=15 trigger=none "
                        "tif_s=1\n");
    for (int i = 0; i < n; i++) {
        used += snprintf(text + used, sizeof text - (size_t)used,
                         "%.3f effort peak=5 seconds=0.5\n", 20 + 4.0 * every * i + delay_s[i]);
    }
    return run_script(text);
}

static void reverse_trigger(void **state) {
    (void)state;
    static const double steady[] = {0.5, 0.55, 0.45, 0.5, 0.52, 0.48, 0.5, 0.5};
    static const double wild[] = {0.1, 1.6, 0.3, 1.9, 0.1, 1.5, 0.4, 1.8};
    struct run *r = entrained(steady, 8, 1);
    double shift = truth_time(&r->sim.truth, r->sim.truth.breaths[10].t0); /* on the clock's grid */
    assert_true(fabs(shift / 4 - floor(shift / 4 + 0.5)) < 0.002);
    assert_int_equal(label_at(r, 25, PATTERN_reverse_trigger), LABEL_IS);
    assert_int_equal(label_at(r, 45, PATTERN_reverse_trigger), LABEL_IS);
    assert_int_equal(label_at(r, 81, PATTERN_reverse_trigger), LABEL_IS_NOT);
    run_free(r);
    r = entrained(steady, 8, 2); /* every second */
    assert_int_equal(label_at(r, 29, PATTERN_reverse_trigger), LABEL_IS);
    assert_int_equal(label_at(r, 33, PATTERN_reverse_trigger), LABEL_IS_NOT);
    run_free(r);
    r = entrained(steady, 6, 3); /* every third */
    assert_int_equal(label_at(r, 33, PATTERN_reverse_trigger), LABEL_IS);
    run_free(r);
    r = entrained(wild, 8, 1);
    assert_int_equal(label_at(r, 33, PATTERN_reverse_trigger), LABEL_OPEN);
    run_free(r);
    r = entrained(steady, 1, 1);
    assert_int_equal(label_at(r, 21, PATTERN_reverse_trigger), LABEL_IS_NOT);
    run_free(r);
}

/* 12 efforts a minute, all alike; what the machine's end of support does to them. */
static int cycled(const char *set, enum pattern p) {
    char text[400];
    snprintf(text, sizeof text,
             "seconds 60\n0 set mode=ps dp_cmh2o=10 drive_per_min=12 drive_cv=0 pmus_cv=0 "
             "pmus_cmh2o=6 effort_rise_s=0.8 effort_relax_s=0.1 %s\n",
             set);
    return label(text, 30, p);
}

static void cycling(void **state) {
    (void)state;
    static const char early[] = "end_flow=0.9",
                      late[] = "end_flow=0.03 ri_cmh2o_s_l=22 "
                               "re_cmh2o_s_l=25 c_ml_cmh2o=80",
                      even[] = "end_flow=0.25";
    assert_int_equal(cycled(early, PATTERN_early_cycling), LABEL_IS);
    assert_int_equal(cycled(early, PATTERN_late_cycling), LABEL_IS_NOT);
    assert_int_equal(cycled(late, PATTERN_late_cycling), LABEL_IS);
    assert_int_equal(cycled(late, PATTERN_early_cycling), LABEL_IS_NOT);
    assert_int_equal(cycled(even, PATTERN_early_cycling), LABEL_IS_NOT);
    assert_int_equal(cycled(even, PATTERN_late_cycling), LABEL_IS_NOT);
    assert_int_equal(label("seconds 30\n0 set mode=vc\n", 15, PATTERN_late_cycling), LABEL_OPEN);
}

static void trigger_delay(void **state) {
    (void)state;
    static const char deaf[] = "trigger=pressure trig_p_cmh2o=3 bias_l_s=0 effort_shape=ramp";
    assert_int_equal(cycled(deaf, PATTERN_trigger_delay), LABEL_IS);
    assert_int_equal(cycled("trig_flow_l_s=0.02 pmus_cmh2o=12", PATTERN_trigger_delay),
                     LABEL_IS_NOT);
}

static void insufficient_flow(void **state) {
    (void)state;
    static const char form[] =
        "seconds 60\n0 set mode=vc rate_per_min=8 tif_s=1.1 drive_per_min=15 "
        "pmus_cmh2o=%g pmus_cv=0 effort_rise_s=1\n";
    static const double peak[] = {12, 5.2, 2.2};
    static const int wanted[] = {LABEL_IS, LABEL_OPEN, LABEL_IS_NOT};
    for (int i = 0; i < 3; i++) {
        char text[300];
        snprintf(text, sizeof text, form, peak[i]);
        assert_int_equal(label(text, 30, PATTERN_insufficient_flow), wanted[i]);
    }
    assert_int_equal(label("seconds 60\n0 set mode=pc\n", 30, PATTERN_insufficient_flow),
                     LABEL_OPEN);
}

static void pressure_overshoot(void **state) {
    (void)state;
    static const char badly[] = "seconds 60\n0 set mode=pc dp_cmh2o=15 ti_s=1.2 servo_damping=0.2 "
                                "rise_tau_s=0 relief_cmh2o=20 servo_rad_s=25 ri_cmh2o_s_l=25 "
                                "servo_r=0.3\n";
    assert_int_equal(label(badly, 30, PATTERN_pressure_overshoot), LABEL_IS);
    assert_int_equal(label("seconds 60\n0 set mode=pc ti_s=1.2 rise_tau_s=0.1\n", 30,
                           PATTERN_pressure_overshoot),
                     LABEL_IS_NOT);
}

static void incomplete_exhalation(void **state) {
    (void)state;
    static const char form[] = "seconds 60\n0 set mode=vc rate_per_min=%d re_cmh2o_s_l=25 "
                               "c_ml_cmh2o=70 vt_ml=500\n";
    static const int rate[] = {20, 13, 7}, wanted[] = {LABEL_IS, LABEL_OPEN, LABEL_IS_NOT};
    for (int i = 0; i < 3; i++) {
        char text[300];
        snprintf(text, sizeof text, form, rate[i]);
        assert_int_equal(label(text, 30, PATTERN_incomplete_exhalation), wanted[i]);
    }
}

/* A push in expiration, written into the course of a breath by hand: 3.5 cmH2O for 0.3 s, 2 for 0.3
 * s, 0.5 for 0.3 s, 5 for 0.1 s. */
static void expiratory_effort(void **state) {
    (void)state;
    static const double size[] = {3.5, 2, 0.5, 5}, seconds[] = {0.3, 0.3, 0.3, 0.1};
    static const int wanted[] = {LABEL_IS, LABEL_OPEN, LABEL_IS_NOT, LABEL_OPEN};
    struct trace tr = {.at = calloc((size_t)TRACE_CAP, sizeof *tr.at)};
    assert_non_null(tr.at);
    for (int i = 0; i < 4; i++) {
        struct truth t;
        truth_init(&t, 0.01, 0, 40);
        tr.n = 0;
        for (int k = 0; k < 900; k++) {
            if (k % 300 == 0) {
                truth_inspiration(&t, &tr, k, "mandatory", "machine", "volume");
            } else if (k % 300 == 100) {
                truth_expiration(&t, k, false);
            }
            double since_s = (k % 300) * 0.01, q = since_s < 1 ? 0.4 : since_s < 2 ? -0.4 : 0;
            double pmus = since_s >= 1.5 && since_s < 1.5 + seconds[i] - 0.005 ? -size[i] : 0;
            *trace_push(&tr) = (struct trace_point){
                .p_y = 5, .q_y = q, .q_lung = q, .recoil = 5, .pmus = pmus};
        }
        truth_finish(&t, &tr, 9);
        assert_true(t.breaths[1].scored);
        assert_int_equal(t.breaths[1].label[PATTERN_expiratory_effort], wanted[i]);
        assert_int_equal(t.breaths[1].label[PATTERN_flow_limitation], LABEL_IS_NOT);
        truth_free(&t);
    }
    free(tr.at);
}

/* Breaths in an event have no label at all. */
static void none_in_events(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 60\n0 set mode=vc\n20 insp_hold\n40 disconnect seconds=5\n");
    size_t seen = 0;
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
        const struct true_breath *b = &r->sim.truth.breaths[i];
        for (int p = 0; p < PATTERNS && !b->scored; p++) {
            assert_int_equal(b->label[p], LABEL_OPEN);
            seen++;
        }
    }
    assert_true(seen > 3 * PATTERNS);
    run_free(r);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ineffective_effort),
        cmocka_unit_test(double_trigger),
        cmocka_unit_test(auto_trigger),
        cmocka_unit_test(reverse_trigger),
        cmocka_unit_test(cycling),
        cmocka_unit_test(trigger_delay),
        cmocka_unit_test(insufficient_flow),
        cmocka_unit_test(pressure_overshoot),
        cmocka_unit_test(incomplete_exhalation),
        cmocka_unit_test(expiratory_effort),
        cmocka_unit_test(none_in_events),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
