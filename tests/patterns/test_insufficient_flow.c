/* Insufficient flow: how much the muscles do in the middle of a volume-controlled inflation, and how well that is known. */
#include "tests/patterns/window.h"

#define P PATTERN_insufficient_flow

static void pulled(struct made *m, double mid, double sd) {
    made_breaths(m, 3, KIND_ASSISTED, INIT_PATIENT, CONTROL_VOLUME);
    m->muscle[m->own].mid_cmh2o = mid;
    m->muscle[m->own].mid_sd = sd;
    made_effort(m, made_t0(m->own) - 0.1, made_t0(m->own) + 0.9, fmax(mid, 1));
}

static void scene(struct made *m) {
    pulled(m, 10, 0.5);
}

static void put_mean(struct made *m, double threshold, int side) {
    pulled(m, threshold + side * HAIR, 0.5 * HAIR);
}

static void put_not(struct made *m, double threshold, int side) {
    pulled(m, 9, 9 - threshold - side * HAIR);
}

static void put_sds(struct made *m, double threshold, int side) {
    pulled(m, 5 + 0.5 * threshold + side * HAIR, 0.5); /* 5 cmH2O: fixtures/truth-files.md */
}

static void either_side(void **state) {
    (void)state;
    made_edge(P, "mean_cmh2o", put_mean);
    made_edge(P, "not_cmh2o", put_not);
    made_edge_of(P, "sds", put_sds, CONF_DEFINITE, CONF_POSSIBLE);
}

static void definite_or_possible(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
    made_whole(&m, P);
    struct pattern_verdict v = made_verdict(&m, P);
    assert_int_equal(v.at_ns, m.row[m.own].t0_ns);
    assert_true(made_number(&v, "mean_cmh2o") == 10 && made_number(&v, "thr_cmh2o") == *made_param(&m, P, "mean_cmh2o"));
    m.muscle[m.own].source = SOURCE_HOLD;
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
    m.muscle[m.own].source = SOURCE_STEPS; /* constants that nobody measured */
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    scene(&m);
    m.muscle[m.own].quality = MECHANICS_POOR;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    m.muscle[m.own].quality = MECHANICS_FAIR;
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
    /* rough constants may all be wrong in one way: they need more room than measured ones */
    double not = *made_param(&m, P, "not_cmh2o");
    pulled(&m, 8, 8 - not - 0.1);
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    m.muscle[m.own].source = SOURCE_STEPS;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

static void alike(void **state) {
    (void)state;
    struct made m;
    static const enum breath_control other[] = {CONTROL_PRESSURE, CONTROL_NONE, CONTROL_UNKNOWN};
    for (int i = 0; i < 3; i++) { /* there flow follows the patient */
        scene(&m);
        m.row[m.own].control = other[i];
        assert_int_equal(made_judged(&m, P), CONF_NONE);
    }
    scene(&m); /* nothing that begins and ends as an effort */
    m.n_efforts = 0;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* an effort that was over in the first quarter */
    m.effort[0].neural_end_ns = m.row[m.own].t0_ns + NS_PER_S / 5;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* more than its effort has: a wrong model */
    m.effort[0].peak_cmh2o = 7;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    pulled(&m, -6, 0.2); /* pressure above the passive ramp: a stiff end, a push */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    pulled(&m, 0.4, 0.2); /* a passive breath */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

static void unjudged(void **state) {
    (void)state;
    struct made m;
    made_unfit(P, scene);
    pulled(&m, (double)NAN, (double)NAN);
    assert_int_equal(made_unjudged(&m, P), WHY_breath_short);
    memset(&m.muscle[m.own], 0, sizeof m.muscle[m.own]);
    assert_int_equal(made_unjudged(&m, P), WHY_no_mechanics);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side), cmocka_unit_test(definite_or_possible), cmocka_unit_test(alike), cmocka_unit_test(unjudged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
