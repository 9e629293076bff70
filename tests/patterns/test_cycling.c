/* Early and late termination: the inflation's end against the effort's, from either side. */
#include "tests/patterns/window.h"

#define EARLY PATTERN_early_cycling
#define LATE  PATTERN_late_cycling

/* An effort from 0.1 s before the inflation to `end_s` after it began; the inflation lasts ti_s. */
static void ends(struct made *m, double ti_s, double end_s) {
    made_breaths(m, 3, KIND_SUPPORTED, INIT_PATIENT, CONTROL_PRESSURE);
    double t0 = made_t0(m->own);
    made_times(m, m->own, t0, t0 + ti_s, t0 + LENGTH_S);
    made_effort(m, t0 - 0.1, t0 + end_s, 8);
}

static void early_scene(struct made *m) {
    ends(m, 0.6, 1.3); /* 0.7 of 1.4 s too early */
}

static void late_scene(struct made *m) {
    ends(m, 1.8, 0.9); /* 0.9 s too late, and the effort was 1.0 s */
}

static void put_early_share(struct made *m, double threshold, int side) {
    double share = threshold + side * HAIR_S;
    ends(m, 0.6, 0.6 + 0.7 * share / (1 - share)); /* err = share (0.7 + err) */
}

static void put_late_share(struct made *m, double threshold, int side) {
    ends(m, 0.9 + threshold + side * HAIR_S, 0.9); /* of a neural time of 1.0 s */
}

/* Short ones, whose share is less than the least error. */
static void put_early_least(struct made *m, double threshold, int side) {
    ends(m, 0.15, 0.15 + threshold + side * HAIR_S);
    m->effort[0].start_ns = m->row[m->own].t0_ns;
    *made_param(m, EARLY, "share") = 0.2;
}

static void put_late_least(struct made *m, double threshold, int side) {
    ends(m, 0.1 + threshold + side * HAIR_S, 0.1);
    *made_param(m, LATE, "share") = 0.2;
}

static void put_early_heart(struct made *m, double threshold, int side) {
    early_scene(m);
    m->muscle[m->own].heart_cmh2o = 2;
    m->effort[0].peak_cmh2o = 2 * threshold + side * HAIR;
}

static void put_late_heart(struct made *m, double threshold, int side) {
    late_scene(m);
    m->muscle[m->own].heart_cmh2o = 2;
    m->effort[0].peak_cmh2o = 2 * threshold + side * HAIR;
}

static void either_side(void **state) {
    (void)state;
    made_edge(EARLY, "share", put_early_share);
    made_edge(LATE, "share", put_late_share);
    made_edge(EARLY, "least_s", put_early_least);
    made_edge(LATE, "least_s", put_late_least);
    made_edge(EARLY, "heart_ratio", put_early_heart);
    made_edge(LATE, "heart_ratio", put_late_heart);
}

static void definite_or_possible(void **state) {
    (void)state;
    static const enum pattern_id id[] = {EARLY, LATE};
    for (int i = 0; i < 2; i++) {
        void (*scene)(struct made *) = i ? late_scene : early_scene;
        struct made m;
        scene(&m);
        assert_int_equal(made_judged(&m, id[i]), CONF_DEFINITE);
        assert_int_equal(made_judged(&m, id[!i]), CONF_NONE); /* one is not the other */
        made_whole(&m, id[i]);
        m.effort[0].confidence = CONF_POSSIBLE;
        assert_int_equal(made_judged(&m, id[i]), CONF_POSSIBLE);
        scene(&m);
        m.rate_hz = 49;
        assert_int_equal(made_judged(&m, id[i]), CONF_POSSIBLE);
        scene(&m);
        m.row[m.own].v[COL_leak_pct] = 21;
        assert_int_equal(made_judged(&m, id[i]), CONF_POSSIBLE);
        m.row[m.own].v[COL_leak_pct] = 19;
        assert_int_equal(made_judged(&m, id[i]), CONF_DEFINITE);
        /* just past the limit is within a standard deviation of it */
        (i ? put_late_share : put_early_share)(&m, *made_param(&m, id[i], "share"), 1);
        assert_int_equal(made_judged(&m, id[i]), CONF_POSSIBLE);
    }
}

static void evidence(void **state) {
    (void)state;
    struct made m;
    early_scene(&m);
    struct pattern_verdict v = made_verdict(&m, EARLY);
    assert_int_equal(v.at_ns, m.row[m.own].t1_ns);
    assert_true(fabs(made_number(&v, "err_s") - 0.7) < 1e-6 && fabs(made_number(&v, "neural_ti_s") - 1.4) < 1e-6);
    assert_true(fabs(made_number(&v, "err_share") - 0.7 / 1.4) < 1e-6);
    assert_true(fabs(made_number(&v, "thr_s") - 1.4 * *made_param(&m, EARLY, "share")) < 1e-6);
    late_scene(&m);
    v = made_verdict(&m, LATE);
    assert_int_equal(v.at_ns, m.effort[0].neural_end_ns);
    assert_true(fabs(made_number(&v, "err_s") - 0.9) < 1e-6 && fabs(made_number(&v, "neural_ti_s") - 1) < 1e-6);
}

static void alike(void **state) {
    (void)state;
    struct made m;
    ends(&m, 1, 1); /* together */
    assert_int_equal(made_judged(&m, EARLY), CONF_NONE);
    assert_int_equal(made_judged(&m, LATE), CONF_NONE);
    late_scene(&m); /* a breath without any effort: filled passively to the end */
    m.n_efforts = 0;
    assert_int_equal(made_judged(&m, LATE), CONF_NONE);
    early_scene(&m); /* an ineffective effort: it begins after the inflation */
    m.effort[0].start_ns = m.row[m.own].t1_ns + NS_PER_S / 10;
    assert_int_equal(made_judged(&m, EARLY), CONF_NONE);
    static const enum breath_kind other[] = {KIND_MANDATORY, KIND_UNASSISTED, KIND_MANUAL, KIND_UNKNOWN};
    for (int i = 0; i < 4; i++) { /* a reverse-triggered effort outlasts the clock's inflation; nothing is cycled off unassisted */
        early_scene(&m);
        m.row[m.own].kind = other[i];
        m.row[m.own].initiation = i == 1 ? INIT_PATIENT : INIT_MACHINE;
        assert_int_equal(made_judged(&m, EARLY), CONF_NONE);
        late_scene(&m);
        m.row[m.own].kind = other[i];
        assert_int_equal(made_judged(&m, LATE), CONF_NONE);
    }
    ends(&m, 0.6, 1.75); /* nobody pulls for longer than 1.8 s: start or end are wrong */
    assert_int_equal(made_unjudged(&m, EARLY), WHY_below_resolution);
    early_scene(&m); /* an effort that doesn't stand out of its error has no end to go by */
    m.effort[0].sd_cmh2o = 0.8 * m.effort[0].peak_cmh2o;
    assert_int_equal(made_unjudged(&m, EARLY), WHY_below_resolution);
    early_scene(&m); /* a false trigger has no effort of its own */
    m.row[m.own].pattern[PATTERN_auto_trigger] = CONF_POSSIBLE;
    assert_int_equal(made_judged(&m, EARLY), CONF_NONE);
    early_scene(&m); /* assisted is supported here */
    m.row[m.own].kind = KIND_ASSISTED;
    assert_int_equal(made_judged(&m, EARLY), CONF_DEFINITE);
}

static void unjudged(void **state) {
    (void)state;
    struct made m;
    made_unfit(EARLY, early_scene);
    made_unfit(LATE, late_scene);
    late_scene(&m);
    m.row[m.own].complete = false;
    assert_int_equal(made_unjudged(&m, EARLY), WHY_gap);
    assert_int_equal(made_unjudged(&m, LATE), WHY_gap);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side), cmocka_unit_test(definite_or_possible), cmocka_unit_test(evidence),
        cmocka_unit_test(alike),       cmocka_unit_test(unjudged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
