/* Trigger delay: from the effort's start to the inflation. */
#include "tests/patterns/window.h"

#define P PATTERN_trigger_delay

static void delayed(struct made *m, double delay_s) {
    made_breaths(m, 3, KIND_SUPPORTED, INIT_PATIENT, CONTROL_PRESSURE);
    made_effort(m, made_t0(m->own) - delay_s, made_t0(m->own) + 0.6, 6);
}

static void scene(struct made *m) {
    delayed(m, 0.6);
}

static void put_delay(struct made *m, double threshold, int side) {
    delayed(m, threshold + side * HAIR_S);
}

static void put_sure(struct made *m, double threshold, int side) {
    put_delay(m, threshold, side);
    *made_param(m, P, "delay_s") = 0.15;
}

static void put_size(struct made *m, double threshold, int side) {
    scene(m);
    m->effort[0].peak_cmh2o = threshold + side * HAIR;
}

static void either_side(void **state) {
    (void)state;
    made_edge(P, "delay_s", put_delay);
    made_edge_of(P, "sure_s", put_sure, CONF_DEFINITE, CONF_POSSIBLE);
    made_edge(P, "size_cmh2o", put_size);
}

/* A beat moves the start: no verdict, neither way. */
static void heart(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    double most = *made_param(&m, P, "heart_cmh2o");
    for (int efforts = 0; efforts < 2; efforts++) {
        m.n_efforts = efforts;
        m.muscle[m.own].heart_cmh2o = most + HAIR;
        assert_int_equal(made_unjudged(&m, P), WHY_below_resolution);
        m.muscle[m.own].heart_cmh2o = most - HAIR;
        assert_int_equal(made_judged(&m, P), efforts ? CONF_DEFINITE : CONF_NONE);
    }
    *made_param(&m, P, "heart_cmh2o") = 2;
    m.muscle[m.own].heart_cmh2o = 1.99;
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
}

static void definite_or_possible(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
    made_whole(&m, P);
    struct pattern_verdict v = made_verdict(&m, P);
    assert_int_equal(v.at_ns, m.effort[0].start_ns);
    assert_true(fabs(made_number(&v, "delay_s") - 0.6) < 1e-6 && made_number(&v, "thr_s") == *made_param(&m, P, "delay_s"));
    m.effort[0].confidence = CONF_POSSIBLE;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    scene(&m);
    m.rate_hz = 49;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    scene(&m);
    m.row[m.own].v[COL_leak_pct] = 21;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    m.row[m.own].v[COL_leak_pct] = 19;
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
}

static void alike(void **state) {
    (void)state;
    struct made m;
    delayed(&m, 1.4); /* nobody waits for so long: another effort went before */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    delayed(&m, 1.2);
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    delayed(&m, 0.08); /* answered at once */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* told already: no effort of its own */
    m.row[m.own].pattern[PATTERN_auto_trigger] = CONF_POSSIBLE;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* no effort: a false trigger, or the end of a push */
    m.n_efforts = 0;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* an effort that was over before: it began no breath */
    m.effort[0].neural_end_ns = m.row[m.own].t0_ns - NS_PER_S / 5;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    static const enum breath_kind other[] = {KIND_MANDATORY, KIND_UNASSISTED, KIND_MANUAL, KIND_UNKNOWN};
    for (int i = 0; i < 4; i++) { /* a clock's inflation keeps nobody waiting; nor does anything where nobody assists */
        scene(&m);
        m.row[m.own].kind = other[i];
        assert_int_equal(made_judged(&m, P), CONF_NONE);
    }
    scene(&m); /* of two efforts the later one is the breath's */
    made_effort(&m, made_t0(m.own) - 0.05, made_t0(m.own) + 0.7, 6);
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

static void unjudged(void **state) {
    (void)state;
    made_unfit(P, scene);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side), cmocka_unit_test(heart),    cmocka_unit_test(definite_or_possible),
        cmocka_unit_test(alike),       cmocka_unit_test(unjudged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
