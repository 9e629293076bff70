/* Every manoeuvre and its values, against closed forms of one linear compartment (common practice,
 * no source). */
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

/* R 20, C 60, 500 mL in 1 s at 20/min from 5: 1.94047 stays in, plateau 15.2738, total
 * PEEP 6.94047. */
static void holds(void **state) {
    (void)state;
    struct run *r = run_script(
        "ideal\nwarmup 0\nstep 0.0005\nseconds 100\n0 set mode=vc rate_per_min=20 vt_ml=500 "
        "tif_s=1 "
        "peep_cmh2o=5 ri_cmh2o_s_l=20 re_cmh2o_s_l=20 c_ml_cmh2o=60\n30.5 insp_hold seconds=3\n"
        "70.5 exp_hold seconds=4\n");
    const struct true_event *in = run_event(r, "insp_hold", 0), *ex = run_event(r, "exp_hold", 0);
    near_to(run_value(in, "pplat_cmh2o"), 15.2738, 0.005, "plateau");
    near_to(run_value(in, "pplat_0_5_cmh2o"), 15.2738, 0.005, "plateau at 0.5 s");
    near_to(run_value(in, "cstat_ml_cmh2o"), 60, 0.05, "static compliance");
    near_to(run_value(in, "r_total_cmh2o_s_l"), 20, 0.1, "resistance");
    near_to(run_value(in, "hold_s"), 3, 0.002, "length");
    near_to(run_value(ex, "total_peep_cmh2o"), 6.94047, 0.005, "total PEEP");
    near_to(run_value(ex, "autopeep_cmh2o"), 1.94047, 0.005, "auto-PEEP");
    assert_true(isnan(run_value(ex, "dpocc_cmh2o")));
    run_free(r);
}

/* A ramp of 8 cmH2O in 0.5 s is 1.6 in 0.1 s; tubing of Cc takes Cc/(C + Cc) of it. */
static void p01(void **state) {
    (void)state;
    static const double tubing[] = {0, 2};
    for (int i = 0; i < 2; i++) {
        char text[400];
        snprintf(text, sizeof text,
                 "ideal\nstep 0.0005\nseconds 30\n0 set mode=cpap peep_cmh2o=5 circuit_ml_cmh2o=%g "
                 "c_ml_cmh2o=50 ri_cmh2o_s_l=5 re_cmh2o_s_l=5\n10 p01 seconds=0.2\n"
                 "12 effort form=ramp peak=8 seconds=0.5\n",
                 tubing[i]);
        struct run *r = run_script(text);
        const struct true_event *e = run_event(r, "occlusion_p01", 0);
        assert_non_null(e);
        near_to(run_value(e, "p01_cmh2o"), 1.6 * 50 / (50 + tubing[i]), 0.01, "P0.1");
        near_to(e->start_s, 12, 0.002, "start");
        near_to(e->end_s - e->start_s, 0.2 + 0.5 / 16, 0.02,
                "from the pull on, and what came before it");
        run_free(r);
    }
}

/* The occlusion takes one breath of any mode, and only where an effort comes. */
static void p01_in_every_mode(void **state) {
    (void)state;
    static const char *const modes[] = {"vc", "pc", "ps", "cpap"};
    for (int i = 0; i < 4; i++) {
        char text[400];
        snprintf(text, sizeof text,
                 "seconds 60\n0 set mode=%s rate_per_min=8 drive_per_min=15 pmus_cmh2o=8\n"
                 "20 p01\n40 p01\n",
                 modes[i]);
        struct run *r = run_script(text);
        assert_non_null(run_event(r, "occlusion_p01", 1));
        assert_null(run_event(r, "occlusion_p01", 2));
        for (size_t k = 0; k < 2; k++) {
            const struct true_event *e = run_event(r, "occlusion_p01", k);
            assert_true(run_value(e, "p01_cmh2o") > 0.8 && run_value(e, "p01_cmh2o") < 4);
            assert_true(e->end_s - e->start_s > 0.15 && e->end_s - e->start_s < 0.45);
            assert_true(e->start_s - (20 + 20 * (double)k) < 5);
        }
        run_free(r);
    }
    struct run *r = run_script("seconds 60\n0 set mode=vc rate_per_min=15\n20 p01\n");
    assert_null(run_event(r, "occlusion_p01", 0));
    run_free(r);
}

/* Half-sines of 10, 20, 30 over 1 s against shut valves, no tubing gas: 0.1 s round the top of a
 * sine is sin(0.05 pi)/(0.05 pi) of it. */
static void max_effort(void **state) {
    (void)state;
    struct run *r = run_script(
        "ideal\nstep 0.0005\nseconds 50\n0 set mode=cpap peep_cmh2o=8\n10 max_effort seconds=20\n"
        "12 effort form=halfsine peak=10 seconds=1\n16 effort form=halfsine peak=20 seconds=1\n"
        "20 effort form=halfsine peak=30 seconds=1\n");
    const struct true_event *e = run_event(r, "max_insp_effort", 0);
    double share = sin(0.05 * 3.14159265) / (0.05 * 3.14159265);
    near_to(e->end_s - e->start_s, 20, 0.002, "length");
    near_to(run_value(e, "mip_cmh2o"), 8 - 30 * share, 0.02, "lowest pressure");
    near_to(run_value(e, "mip_swing_cmh2o"), -30 * share, 0.02, "swing");
    near_to(run_value(e, "mip_1s_cmh2o"), 8 - 30 * 2 / 3.14159265, 0.05, "lowest second");
    near_to(run_value(e, "efforts"), 3, 0, "efforts");
    near_to(run_value(e, "best_at_s"), 10.55, 0.02, "when");
    run_free(r);
}

/* p = PEEP + R q + V/C, to the limit. */
static void slow_inflation(void **state) {
    (void)state;
    struct run *r =
        run_script("ideal\nstep 0.0005\nseconds 60\n0 set mode=vc rate_per_min=12 vt_ml=400 "
                   "peep_cmh2o=5 ri_cmh2o_s_l=8 re_cmh2o_s_l=8 c_ml_cmh2o=30\n"
                   "20 slow_inflate flow=0.1 level=36 seconds=15\n");
    const struct true_event *e = run_event(r, "slow_inflation", 0);
    near_to(run_value(e, "flow_l_s"), 0.1, 0.001, "flow");
    near_to(run_value(e, "p_from_cmh2o"), 5, 0.1, "from");
    near_to(run_value(e, "p_to_cmh2o"), 36, 0.05, "to");
    near_to(run_value(e, "vol_ml"), (36 - 5 - 0.8) * 30, 4, "volume");
    near_to(e->end_s - e->start_s, (36 - 5 - 0.8) * 0.3, 0.05, "length");
    run_free(r);
}

static void inflation(void **state) {
    (void)state;
    struct run *r = run_script("seconds 120\n0 set mode=vc\n30 inflate level=35 seconds=30\n");
    const struct true_event *e = run_event(r, "sustained_inflation", 0);
    near_to(run_value(e, "level_cmh2o"), 35, 0.5, "level");
    near_to(run_value(e, "held_s"), 29.5, 0.1, "length");
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) { /* the clock lets it out first */
        const struct true_breath *b = &r->sim.truth.breaths[i];
        assert_true(b->t2 < 0 || (double)(b->t2 - b->t1) * r->sim.h_s > 2.9 ||
                    fabs(truth_time(&r->sim.truth, b->t0) - 30) < 8);
        assert_true(fabs(truth_time(&r->sim.truth, b->t1) - e->end_s) > 0.1 || b->vte_t_ml > 1000);
    }
    run_free(r);
    r = run_script("seconds 120\n0 set mode=cpap\n30 inflate level=35 seconds=30\n");
    assert_int_equal(run_count(r, "mandatory"), 1); /* the inflation itself */
    run_free(r);
}

/* Four steps of 3 and back, driving pressure as it was. */
static void recruitment(void **state) {
    (void)state;
    struct run *r = run_script("seconds 400\n0 set mode=pc dp_cmh2o=14 peep_cmh2o=8\n"
                               "60 recruit steps=4 step=3 seconds=30\n");
    const struct true_event *e = run_event(r, "stepped_recruitment", 0);
    near_to(e->start_s, 60, 0.002, "start");
    near_to(e->end_s, 60 + 7 * 30, 0.01, "end");
    near_to(run_value(e, "top_peep_cmh2o"), 20, 1e-9, "top PEEP");
    near_to(run_value(e, "top_pip_cmh2o"), 34, 0.8, "top pressure");
    assert_true(run_value(e, "over30_s") > 15 && run_value(e, "over40_s") < 0.001);
    assert_non_null(run_event(r, "peep_step", 7));
    assert_null(run_event(r, "peep_step", 8));
    near_to(run_last(r)->peep, 8, 0.3, "PEEP at the end");
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
        const struct true_breath *b = &r->sim.truth.breaths[i];
        assert_true(b->scored || strcmp(b->why, "edge") == 0); /* breathing goes on beside it */
    }
    run_free(r);
}

static void trial(void **state) {
    (void)state;
    struct run *r = run_script(
        "seconds 1500\nstep 0.002\n0 set mode=ps dp_cmh2o=14 peep_cmh2o=8 drive_per_min=18\n"
        "0 set pmus_cmh2o=9\n100 trial form=cpap peep=5 seconds=600\n"
        "900 trial form=support level=7 peep=6 seconds=1800 early=400\n");
    const struct true_event *e = run_event(r, "breathing_trial", 0),
                            *f = run_event(r, "breathing_trial", 1);
    near_to(e->end_s - e->start_s, 600, 0.01, "as planned");
    near_to(f->end_s - f->start_s, 400, 0.01, "early");
    assert_non_null(strstr(e->values, "form=cpap"));
    assert_non_null(strstr(e->values, "ended_by=plan"));
    assert_non_null(strstr(f->values, "ended_by=early"));
    double n = 0, litres = 0;
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
        const struct true_breath *b = &r->sim.truth.breaths[i];
        double t0_s = truth_time(&r->sim.truth, b->t0);
        if (t0_s > 105 && t0_s < 695) {
            assert_string_equal(b->kind, "unassisted");
            near_to(b->peep, 5, 0.6, "PEEP");
        } else if (t0_s > 705 && t0_s < 895) {
            assert_string_equal(b->kind, "supported");
        }
        n += t0_s >= 100 && t0_s < 400;
        litres += t0_s >= 100 && t0_s < 400 ? b->vte_ml / 1000 : 0;
    }
    near_to(run_value(e, "rsbi_first5"), n / 5 / (litres / n), 2, "rate over volume");
    run_free(r);
}

/* Gas on the machine's side of the sensor: VT grows by Q Ti, and a hold's pressure climbs. */
static void nebuliser(void **state) {
    (void)state;
    struct run *r =
        run_script("ideal\nseconds 200\n0 set mode=vc vt_ml=450 tif_s=1 rate_per_min=15\n"
                   "100 nebulise flow=0.12 seconds=95\n");
    const struct true_event *e = run_event(r, "nebulisation", 0);
    const struct truth *t = &r->sim.truth;
    near_to(run_value(e, "added_l_min"), 7.2, 0.001, "gas");
    for (size_t i = 0; i < t->n_breaths; i++) {
        double t0_s = truth_time(t, t->breaths[i].t0);
        if (t0_s > 0 && t0_s < 98) {
            near_to(t->breaths[i].vti_t_ml, 450, 2, "without");
        } else if (t0_s > 101 && t0_s < 190) {
            near_to(t->breaths[i].vti_t_ml, 570, 2, "with");
            assert_true(t->breaths[i].scored);
        }
    }
    run_free(r);
}

/* The root of pressure falls in a straight line by k/(2 Cc): a leak like k sqrt(p) from closed
 * tubing. */
static void circuit_check(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 60\nstep 0.0005\n0 set mode=vc circuit_ml_cmh2o=2 leak_k=0.0001\n"
                   "20 check level=45 seconds=12\n");
    const struct true_event *e = run_event(r, "circuit_check", 0);
    assert_non_null(e);
    int64_t to = (int64_t)((e->end_s + 20) / r->sim.h_s) - 2,
            from = to - (int64_t)(11 / r->sim.h_s);
    double first = trace_get(&r->sim.trace, from)->p_y, last = trace_get(&r->sim.trace, to)->p_y;
    near_to(first, 45, 1.5, "level");
    near_to(sqrt(first) - sqrt(last), 0.0001 * 1000 / (2 * 2) * 11, 0.003, "fall of the root");
    near_to(run_value(e, "leak_ml_min"), 2 * (first - last) * 60 / 11, 1, "leak");
    assert_true(fabs(trace_get(&r->sim.trace, to)->q_lung) < 1);
    near_to(trace_get(&r->sim.trace, to)->recoil, 0, 0.05, "the patient breathes the room's air");
    assert_string_equal(run_last(r)->kind, "mandatory"); /* and is put back on */
    run_free(r);
}

static void zeroing_and_offset(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 60\n0 set mode=vc noise_p=0.1 noise_q=0.005\n"
                   "20.3 zero seconds=0.5\n30 zero form=flow seconds=0.4\n40 set offset_q=0.02\n");
    size_t zeros = 0, flow_zeros = 0;
    for (size_t i = 0; i < r->n; i++) {
        zeros += r->p[i] == 0 && r->q[i] == 0;
        flow_zeros += r->p[i] != 0 && r->q[i] == 0;
    }
    assert_true(zeros >= 49 && zeros <= 50);
    assert_true(flow_zeros >= 39 && flow_zeros <= 40);
    near_to(run_value(run_event(r, "sensor_offset", 2), "offset"), 0.02, 1e-9, "offset");
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
        const struct true_breath *b = &r->sim.truth.breaths[i];
        double t0_s = truth_time(&r->sim.truth, b->t0);
        assert_true(t0_s < 41 || truth_time(&r->sim.truth, b->t2) > 60 || b->t2 < 0 || b->scored);
        assert_true(t0_s > 20.3 || truth_time(&r->sim.truth, b->t2) < 20.8 || !b->scored);
    }
    run_free(r);
}

static void other_events(void **state) {
    (void)state;
    struct run *r = run_script(
        "seconds 200\n0 set mode=vc rate_per_min=12\n20 breath\n40 suction form=closed flow=0.4\n"
        "70 disconnect form=a seconds=10\n100 set vt_ml=400\n120 set peep_cmh2o=10\n"
        "140 set mode=cpap\n150 set peep_cmh2o=10.5\n");
    const struct true_event *e = run_event(r, "manual_breath", 0);
    near_to(e->start_s, 20, 0.01, "the operator's breath");
    e = run_event(r, "suction", 0);
    assert_true(run_value(e, "lowest_cmh2o") < 5 && run_value(e, "drawn_ml") > 2000);
    e = run_event(r, "disconnection", 0);
    near_to(run_value(e, "expired_ml"), 250, 200, "what PEEP held, and some of a breath");
    e = run_event(r, "setting_change", 0);
    assert_string_equal(e->values, "what=vt_ml;from=450;to=400");
    e = run_event(r, "peep_step", 0);
    assert_string_equal(e->values, "from_cmh2o=5;to_cmh2o=10");
    assert_null(run_event(r, "peep_step", 1));
    assert_string_equal(run_event(r, "setting_change", 1)->values, "what=mode;from=vc;to=cpap");
    assert_null(run_event(r, "setting_change", 2));
    e = run_event(r, "apnoea", 0);
    assert_true(e == NULL || e->start_s > 140);
    run_free(r);
}

/* Whatever the mode, an act comes to its end and leaves its event, and breathing goes on. */
static void every_act_in_every_mode(void **state) {
    (void)state;
    static const char *const modes[] = {
        "mode=vc",
        "mode=pc",
        "mode=pc target_ml=450",
        "mode=vc mixed=1 support_cmh2o=8 window_s=1",
        "mode=ps apnoea_s=15",
        "mode=cpap apnoea_s=15",
        "mode=two_level high_s=3 low_s=2",
        "mode=two_level support_cmh2o=6 support_high_cmh2o=6 window_s=0.3 high_s=3 low_s=2"};
    static const char *const events[] = {"exp_hold",       "occlusion_p01",       "max_insp_effort",
                                         "slow_inflation", "sustained_inflation", "circuit_check",
                                         "suction",        "disconnection"};
    for (size_t i = 0; i < sizeof modes / sizeof *modes; i++) {
        char text[900];
        snprintf(text, sizeof text,
                 "seconds 330\nstep 0.002\n0 set rate_per_min=10 drive_per_min=16 pmus_cmh2o=9 %s\n"
                 "20 exp_hold\n50 p01\n80 max_effort seconds=10\n110 slow_inflate level=25\n"
                 "150 inflate level=30 seconds=12\n190 check\n230 suction\n260 disconnect\n"
                 "290 insp_hold\n",
                 modes[i]);
        struct run *r = run_script(text);
        const struct truth *t = &r->sim.truth;
        for (size_t k = 0; k < sizeof events / sizeof *events; k++) {
            const struct true_event *e = run_event(r, events[k], 0);
            double asked_s = 20 + 30 * (double)k + (k > 3 ? 10 * (double)(k < 6 ? k - 3 : 2) : 0);
            if (!e || run_event(r, events[k], 1) || e->start_s < asked_s - 1 ||
                e->start_s > asked_s + 14) {
                fail_msg("%s: %s at %.2f", modes[i], events[k], e ? e->start_s : -1);
            }
        }
        bool holds_in = strcmp(modes[i], "mode=cpap apnoea_s=15") != 0;
        assert_int_equal(run_event(r, "insp_hold", 0) != NULL, holds_in);
        for (size_t k = 1; k < t->n_breaths; k++) {
            assert_true(t->breaths[k].t0 == t->breaths[k - 1].t2); /* one after the other */
            assert_true(t->breaths[k].t1 >= t->breaths[k].t0);
            assert_true(isfinite(t->breaths[k].vti_ml) && isfinite(t->breaths[k].peep));
        }
        assert_true(truth_time(t, t->breaths[t->n_breaths - 1].t0) > 318);
        run_free(r);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(holds),
        cmocka_unit_test(p01),
        cmocka_unit_test(p01_in_every_mode),
        cmocka_unit_test(max_effort),
        cmocka_unit_test(slow_inflation),
        cmocka_unit_test(inflation),
        cmocka_unit_test(recruitment),
        cmocka_unit_test(trial),
        cmocka_unit_test(nebuliser),
        cmocka_unit_test(circuit_check),
        cmocka_unit_test(zeroing_and_offset),
        cmocka_unit_test(other_events),
        cmocka_unit_test(every_act_in_every_mode),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
