/* Expiratory effort: how deep a push is, and how long. */
#include "tests/patterns/window.h"

#define P PATTERN_expiratory_effort

static void pushed(struct made *m, double depth, double lasts_s) {
    made_breaths(m, 3, KIND_SUPPORTED, INIT_PATIENT, CONTROL_PRESSURE);
    struct muscle *x = &m->muscle[m->own];
    x->push_cmh2o = depth;
    x->push_s = lasts_s;
    x->push_ns = m->row[m->own].t1_ns + NS_PER_S;
}

static void scene(struct made *m) {
    pushed(m, 8, 0.8);
}

static void put_depth(struct made *m, double threshold, int side) {
    pushed(m, threshold + side * HAIR, 0.8);
}

static void put_lasts(struct made *m, double threshold, int side) {
    pushed(m, 8, threshold + side * HAIR_S);
}

static void put_lasts_infant(struct made *m, double threshold, int side) {
    pushed(m, 8, 0.5 * threshold + side * HAIR_S);
    m->time_scale = 0.5;
}

static void either_side(void **state) {
    (void)state;
    made_edge(P, "depth_cmh2o", put_depth);
    made_edge(P, "lasts_s", put_lasts);
    made_edge(P, "lasts_s", put_lasts_infant);
    struct made m;
    scene(&m);
    double most = *made_param(&m, P, "leak_pct");
    m.row[m.own].v[COL_leak_pct] = most - HAIR;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    m.row[m.own].v[COL_leak_pct] = most + HAIR;
    assert_int_equal(made_unjudged(&m, P), WHY_leak_high);
    *made_param(&m, P, "leak_pct") = 40;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
}

static void evidence(void **state) {
    (void)state;
    struct made m;
    pushed(&m, 30, 2); /* never definite, however deep: no oesophageal, no gastric pressure */
    struct pattern_verdict v = made_verdict(&m, P);
    assert_int_equal(v.confidence, CONF_POSSIBLE);
    made_whole(&m, P);
    assert_int_equal(v.at_ns, m.muscle[m.own].push_ns);
    assert_true(made_number(&v, "depth_cmh2o") == 30 && made_number(&v, "dur_s") == 2);
    assert_true(made_number(&v, "thr_cmh2o") == *made_param(&m, P, "depth_cmh2o"));
    m.muscle[m.own].heart_cmh2o = 5;
    v = made_verdict(&m, P);
    assert_true(made_number(&v, "thr_cmh2o") == 10); /* what it was held against: two beats are more */
}

static void alike(void **state) {
    (void)state;
    struct made m;
    pushed(&m, -0.3, 0.5); /* nothing fell */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* the heart: no push of twice its bump */
    m.muscle[m.own].heart_cmh2o = 4.1;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    m.muscle[m.own].heart_cmh2o = 3.9;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    scene(&m); /* another breath's */
    m.own = 0;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* a cough is an event, and no flag */
    m.row[m.own].quality = UINT64_C(1) << WHY_event;
    assert_int_equal(made_unjudged(&m, P), WHY_event);
}

/* What flows at the end of a push is the push's, and says nothing of gas that is trapped; a hold does. */
static void no_trapping(void **state) {
    (void)state;
    struct made m;
    for (int push = 0; push < 2; push++) {
        pushed(&m, push ? 8 : 0, 0.8);
        m.exp[m.own] = (struct expiration){.end_ns = m.row[m.own].t2_ns, .q_end_l_s = 0.3, .r_end_cmh2o_s_l = 10, .r_end_sd = 0.2, .e_cmh2o_l = 20, .e_sd_ln = 0.05,
                                           .e_measured = true, .te_s = 1, .tau_s = 0.6, .q0_l_s = 1.5, .effort_cmh2o = (double)NAN,
                                           .re_cmh2o_s_l = (double)NAN, .k2 = (double)NAN};
        assert_int_equal(made_unjudged(&m, PATTERN_incomplete_exhalation), push ? WHY_effort_suspected : WHY_NONE);
        m.row[m.own].autopeep_basis = AUTOPEEP_HOLD;
        m.row[m.own].v[COL_autopeep_cmh2o] = 4;
        assert_int_equal(made_judged(&m, PATTERN_incomplete_exhalation), CONF_DEFINITE);
    }
}

static void unjudged(void **state) {
    (void)state;
    struct made m;
    made_unfit(P, scene);
    pushed(&m, (double)NAN, (double)NAN);
    assert_int_equal(made_unjudged(&m, P), WHY_breath_short);
    memset(&m.muscle[m.own], 0, sizeof m.muscle[m.own]);
    assert_int_equal(made_unjudged(&m, P), WHY_no_mechanics);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side), cmocka_unit_test(evidence), cmocka_unit_test(alike), cmocka_unit_test(unjudged), cmocka_unit_test(no_trapping),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
