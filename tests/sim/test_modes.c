/* What the machine does of its own: two levels, a pressure that follows a volume, clocked and
 * supported breaths mixed, breaths after a silence, the ends of support. Closed forms: one linear
 * compartment (common practice, no source). */
#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void near_to(double found, double wanted, double most, const char *what) {
    if (!(fabs(found - wanted) <= most)) {
        fail_msg("%s: %.5f, wanted %.5f within %.5f", what, found, wanted, most);
    }
}

struct level_row {
    double r, c, dp, high_s, low_s;
};

/* Without breathing, two levels are pressure control of any ratio: V = C dP (1-a)(1-b)/(1-ab) with
 * a = exp(-high/tau), b = exp(-low/tau); what stays in is b (1-a)/(1-ab) of dP. */
static void two_levels_are_pressure_control(void **state) {
    (void)state;
    static const struct level_row rows[] = {
        {10, 50, 15, 1, 2}, {10, 50, 18, 3.6, 0.4}, {20, 60, 15, 4, 0.8}, {8, 30, 20, 2, 2}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const struct level_row *w = &rows[i];
        char text[500];
        snprintf(text, sizeof text,
                 "ideal\nwarmup 0\nstep 0.0005\nseconds 60\n0 set mode=two_level peep_cmh2o=5 "
                 "dp_cmh2o=%g high_s=%g low_s=%g ri_cmh2o_s_l=%g re_cmh2o_s_l=%g c_ml_cmh2o=%g\n",
                 w->dp, w->high_s, w->low_s, w->r, w->r, w->c);
        struct run *r = run_script(text);
        const struct true_breath *b = run_last(r);
        double tau = w->r * w->c / 1000, a = exp(-w->high_s / tau), e = exp(-w->low_s / tau);
        double fill = (1 - a) / (1 - a * e);
        near_to(b->vti_t_ml, w->c * w->dp * fill * (1 - e), 0.005 * b->vti_t_ml, "volume");
        near_to(b->total_peep - 5, w->dp * fill * e, 0.005 * w->dp, "what stays in");
        near_to((double)(b->t1 - b->t0) * r->sim.h_s, w->high_s, 0.001, "time high");
        near_to((double)(b->t2 - b->t1) * r->sim.h_s, w->low_s, 0.001, "time low");
        assert_string_equal(b->kind, "mandatory");
        assert_string_equal(b->control, "pressure");
        run_free(r);
    }
}

/* A machine with lags: gas still leaves as the level rises, and the turn is the machine's doing. */
static void rises_are_no_breaths_of_the_patients(void **state) {
    (void)state;
    struct run *r = run_script("seconds 60\n0 set mode=two_level high_s=2 low_s=3 trigger=none "
                               "heart_per_min=80 heart_l_s=0.03\n");
    size_t scored = 0;
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
        const struct true_breath *b = &r->sim.truth.breaths[i];
        assert_string_equal(b->kind, "mandatory");
        scored += b->scored;
    }
    assert_true(r->sim.truth.n_breaths <= 17 && scored >= 10);
    run_free(r);
}

/* Efforts at both levels draw breaths of their own; with support they are supported. */
static void breathing_on_two_levels(void **state) {
    (void)state;
    static const char *const support[] = {"", "0 set support_cmh2o=6 support_high_cmh2o=6\n"};
    for (int with = 0; with < 2; with++) {
        char text[600];
        snprintf(text, sizeof text,
                 "seconds 40\n0 set mode=two_level peep_cmh2o=5 dp_cmh2o=12 high_s=5 low_s=5\n%s"
                 "12.5 effort peak=8\n17.8 effort peak=8\n22.5 effort peak=8\n27.8 effort peak=8\n",
                 support[with]);
        struct run *r = run_script(text);
        const char *kind = with ? "supported" : "unassisted";
        size_t on_top = 0;
        for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
            const struct true_breath *b = &r->sim.truth.breaths[i];
            double t0_s = truth_time(&r->sim.truth, b->t0);
            if (strcmp(b->kind, kind) == 0) {
                on_top++;
                bool in_effort = false;
                for (size_t k = 0; k < r->sim.truth.n_efforts; k++) {
                    double late = t0_s - r->sim.truth.efforts[k].start_s;
                    in_effort |= late >= 0 && late < 0.3;
                }
                assert_true(in_effort);
                assert_true(b->vti_ml > 100 && b->t1 > b->t0 && b->t2 > b->t1);
            }
        }
        assert_int_equal(on_top, 4);
        /* A rise each 10 s all the while: 40 s and the warm-up's two. */
        size_t rises = run_count(r, "mandatory");
        assert_true(rises >= 5 && rises <= 6);
        run_free(r);
    }
}

/* A release in the middle of a breath at the high level ends that breath; it is not scored. */
static void release_in_a_breath(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 30\nwarmup 20\n0 set mode=two_level dp_cmh2o=12 high_s=5 low_s=5 "
                   "trigger=none\n9.4 effort peak=10 seconds=0.9\n"
                   "19.4 effort peak=10 seconds=0.9\n");
    size_t between = 0;
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
        const struct true_breath *b = &r->sim.truth.breaths[i];
        between += strcmp(b->why, "between") == 0;
        assert_true(strcmp(b->why, "between") != 0 || !b->scored);
    }
    assert_int_equal(between, 2);
    run_free(r);
}

/* With a window, a trigger before the clock brings the rise forward, and only there. */
static void rise_with_the_patient(void **state) {
    (void)state;
    for (int window = 0; window < 2; window++) {
        char text[300];
        snprintf(text, sizeof text,
                 "seconds 60\n0 set mode=two_level dp_cmh2o=12 high_s=2 low_s=4 window_s=%d\n"
                 "0 set drive_per_min=17 pmus_cmh2o=6\n",
                 window);
        struct run *r = run_script(text);
        size_t assisted = run_count(r, "assisted"), all = assisted + run_count(r, "mandatory");
        assert_true(window ? assisted >= 3 : assisted == 0);
        assert_true(all >= 12 && all <= 16);
        run_free(r);
    }
}

static const char targeted[] = "seconds 120\nwarmup 0\n0 set mode=pc rate_per_min=15 ti_s=1 "
                               "dp_cmh2o=8 target_ml=450 ri_cmh2o_s_l=8 re_cmh2o_s_l=8 ";

static void pressure_follows_volume(void **state) {
    (void)state;
    char text[400];
    snprintf(text, sizeof text, "%sc_ml_cmh2o=40\n60 set c_ml_cmh2o=30\n", targeted);
    struct run *r = run_script(text);
    const struct true_breath *b = r->sim.truth.breaths;
    near_to(b[1].pip - b[0].pip, 3, 0.3, "a step at a time");
    near_to(b[13].vti_t_ml, 450, 4.5, "volume after a minute");
    near_to(run_last(r)->vti_t_ml, 450, 4.5, "volume after the lung stiffened");
    assert_true(run_last(r)->pip > b[13].pip + 2);
    assert_string_equal(run_last(r)->control, "pressure");
    run_free(r);
    snprintf(text, sizeof text, "%sc_ml_cmh2o=20 dp_max_cmh2o=15\n", targeted);
    r = run_script(text);
    near_to(r->sim.machine.set.dp_cmh2o, 15, 1e-9, "the limit above PEEP");
    assert_true(run_last(r)->vti_t_ml < 0.8 * 450);
    run_free(r);
}

/* A patient who draws hard is given less, at the same volume. */
static void effort_lowers_the_pressure(void **state) {
    (void)state;
    struct run *idle = run_script(
                   "seconds 120\n0 set mode=ps dp_cmh2o=12 target_ml=450 drive_per_min=18 "
                   "pmus_cmh2o=3 pmus_cv=0 dp_min_cmh2o=0\n"),
               *keen = run_script(
                   "seconds 120\n0 set mode=ps dp_cmh2o=12 target_ml=450 drive_per_min=18 "
                   "pmus_cmh2o=7 pmus_cv=0 dp_min_cmh2o=0\n");
    assert_true(keen->sim.machine.dp_now < idle->sim.machine.dp_now - 1.5);
    near_to(run_last(keen)->vti_ml, 450, 45, "volume");
    run_free(idle);
    run_free(keen);
}

/* Whatever the patient does between, the clock's breaths come at its rate. */
static void mixed_keeps_its_rate(void **state) {
    (void)state;
    for (int window = 0; window < 2; window++) {
        char text[400];
        snprintf(text, sizeof text,
                 "seconds 600\n0 set mode=vc mixed=1 rate_per_min=6 support_cmh2o=8 window_s=%g\n"
                 "0 set drive_per_min=20 pmus_cmh2o=6\n",
                 window * 1.5);
        struct run *r = run_script(text);
        size_t clocked = 0, brought = 0;
        for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
            const struct true_breath *b = &r->sim.truth.breaths[i];
            if (truth_time(&r->sim.truth, b->t0) >= 0 && strcmp(b->control, "volume") == 0) {
                clocked++;
                brought += strcmp(b->kind, "assisted") == 0;
            }
        }
        assert_true(clocked >= 59 && clocked <= 61);
        assert_true(window ? brought > 10 : brought <= 2); /* a beat that waited */
        assert_true(run_count(r, "supported") > 80);
        run_free(r);
    }
}

/* A silence of apnoea_s, then clocked breaths until the patient triggers again. */
static void backup(void **state) {
    (void)state;
    static const char *const modes[] = {"ps", "cpap"};
    for (int i = 0; i < 2; i++) {
        char text[400];
        snprintf(text, sizeof text,
                 "seconds 120\n0 set mode=%s apnoea_s=15 rate_per_min=12 drive_per_min=18 "
                 "pmus_cmh2o=8 backup_dp_cmh2o=14\n30 apnoea seconds=50\n",
                 modes[i]);
        struct run *r = run_script(text);
        const struct truth *t = &r->sim.truth;
        double first_s = NAN, last_s = NAN, before_s = NAN;
        size_t n = 0;
        for (size_t k = 0; k < t->n_breaths; k++) {
            if (strcmp(t->breaths[k].kind, "mandatory") == 0) {
                first_s = n++ ? first_s : truth_time(t, t->breaths[k].t0);
                last_s = truth_time(t, t->breaths[k].t0);
                assert_string_equal(t->breaths[k].control, "pressure");
            } else if (n == 0) {
                before_s = truth_time(t, i ? t->breaths[k].t1 : t->breaths[k].t0);
            }
        }
        near_to(first_s - before_s, 15, i ? 0.2 : 0.002, "silence");
        near_to((last_s - first_s) / (double)(n - 1), 5, 0.01, "the clock's interval");
        assert_true(n >= 6 && n <= 9);
        assert_true(last_s < 81 && strcmp(t->breaths[t->n_breaths - 1].initiation, "patient") == 0);
        run_free(r);
    }
}

/* Support ends by flow, by its time limit (then it is none: assisted), or by pressure: here the
 * overshoot of a badly damped controller. */
static void ends_of_support(void **state) {
    (void)state;
    static const char *const set[] = {
        "end_flow=0.25", "end_flow=0.05 ti_max_s=0.5",
        "end_flow=0.05 servo_rad_s=15 servo_damping=0.2 end_p_cmh2o=1"};
    static const char *const kind[] = {"supported", "assisted", "supported"};
    double ti_s[3];
    for (int i = 0; i < 3; i++) {
        char text[400];
        snprintf(text, sizeof text,
                 "seconds 30\n0 set mode=ps dp_cmh2o=12 drive_per_min=15 pmus_cmh2o=4 pmus_cv=0 "
                 "drive_cv=0 rise_tau_s=0 relief_cmh2o=20 "
                 "ri_cmh2o_s_l=20 %s\n",
                 set[i]);
        struct run *r = run_script(text);
        const struct true_breath *b = r->sim.truth.breaths;
        assert_true(run_count(r, kind[i]) >= 7);
        assert_int_equal(run_count(r, kind[!(i % 2)]), 0);
        b += strcmp(b->kind, kind[i]) != 0; /* an early end may leave some of an effort over */
        assert_string_equal(b->kind, kind[i]);
        ti_s[i] = (double)(b->t1 - b->t0) * r->sim.h_s;
        run_free(r);
    }
    near_to(ti_s[1], 0.5, 0.002, "the time limit");
    near_to(ti_s[2], 0.18, 0.06, "the overshoot");
    assert_true(ti_s[0] > 0.5);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_levels_are_pressure_control),
        cmocka_unit_test(rises_are_no_breaths_of_the_patients),
        cmocka_unit_test(breathing_on_two_levels),
        cmocka_unit_test(release_in_a_breath),
        cmocka_unit_test(rise_with_the_patient),
        cmocka_unit_test(pressure_follows_volume),
        cmocka_unit_test(effort_lowers_the_pressure),
        cmocka_unit_test(mixed_keeps_its_rate),
        cmocka_unit_test(backup),
        cmocka_unit_test(ends_of_support),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
