/* Double trigger: what comes out between two inflations, the time between, the effort that holds both. */
#include "tests/patterns/window.h"

#define P PATTERN_double_trigger

static void second_after(struct made *m, double gap_s) {
    made_breaths(m, 3, KIND_ASSISTED, INIT_PATIENT, CONTROL_VOLUME);
    double t0 = made_t0(0), second = t0 + TI_S + gap_s;
    made_times(m, 0, t0, t0 + TI_S, second);
    made_times(m, 1, second, second + TI_S, made_t0(2));
    m->row[0].v[COL_vte_ml] = 100; /* of 400 */
    made_effort(m, t0 - 0.1, second + 0.1, 8);
}

static void scene(struct made *m) {
    second_after(m, 0.3);
}

static void put_sure_exhaled(struct made *m, double threshold, int side) {
    scene(m);
    *made_param(m, P, "exhaled_pct") = 70;
    m->row[0].v[COL_vte_ml] = 4 * (threshold - side * HAIR);
}

static void put_exhaled(struct made *m, double threshold, int side) {
    scene(m);
    m->row[0].v[COL_vte_ml] = 4 * (threshold - side * HAIR);
}

static void put_gap(struct made *m, double threshold, int side) {
    second_after(m, threshold - side * HAIR_S);
}

static void put_gap_infant(struct made *m, double threshold, int side) {
    second_after(m, 0.5 * threshold - side * HAIR_S);
    m->time_scale = 0.5;
}

static void put_after(struct made *m, double threshold, int side) {
    scene(m);
    m->effort[0].neural_end_ns = m->row[1].t0_ns - (int64_t)((threshold - side * HAIR_S) * 1e9);
}

static void either_side(void **state) {
    (void)state;
    made_edge_of(P, "sure_exhaled_pct", put_sure_exhaled, CONF_DEFINITE, CONF_POSSIBLE);
    made_edge(P, "exhaled_pct", put_exhaled);
    made_edge(P, "gap_s", put_gap);
    made_edge(P, "gap_s", put_gap_infant);
    made_edge(P, "after_s", put_after);
}

static void definite_or_possible(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
    made_whole(&m, P);
    m.row[m.own].v[COL_leak_pct] = 21;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    scene(&m);
    m.effort[0].quality = MECHANICS_POOR;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    scene(&m); /* unlike in size: the first was a draw, or the second a gasp */
    m.row[m.own].v[COL_vti_ml] = 90;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    second_after(&m, 0.49);
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
    second_after(&m, 0.51);
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    second_after(&m, 0.26); /* an infant's half second is half of it */
    m.time_scale = 0.5;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    /* nothing known of the efforts: two inflations on end are seen all the same */
    scene(&m);
    m.n_efforts = 0;
    m.row[m.own].v[COL_effort] = (double)NAN;
    struct pattern_verdict v = made_verdict(&m, P);
    assert_int_equal(v.confidence, CONF_POSSIBLE);
    assert_int_equal(v.n, 6);
}

static void evidence(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    struct pattern_verdict v = made_verdict(&m, P);
    assert_int_equal(v.at_ns, m.row[1].t0_ns);
    assert_true(fabs(made_number(&v, "gap_s") - 0.3) < 1e-6 && fabs(made_number(&v, "exhaled_pct") - 25) < 1e-9);
    assert_true(fabs(made_number(&v, "vstack_ml") - 700) < 1e-9); /* 400 less 100, and 400 on top */
    assert_string_equal(made_word(&v, "first"), "patient");
    m.row[0].initiation = INIT_MACHINE;
    v = made_verdict(&m, P);
    assert_string_equal(made_word(&v, "first"), "machine");
    m.row[0].v[COL_vte_ml] = (double)NAN; /* what flowed in hid what came out */
    m.row[0].why[COL_vte_ml] = WHY_drift_high;
    v = made_verdict(&m, P);
    assert_true(fabs(made_number(&v, "vstack_ml") - 800) < 1e-9);
}

static void alike(void **state) {
    (void)state;
    struct made m;
    scene(&m); /* a fast patient breathes out first */
    m.row[0].v[COL_vte_ml] = 320;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* two false triggers: no effort */
    m.n_efforts = 0;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* an effort of its own, which began once the first was over */
    m.effort[0].start_ns = m.row[0].t1_ns + NS_PER_S / 4;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* the patient draws on without the machine */
    m.row[1].kind = KIND_UNASSISTED;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* the first inflation was cut: nobody knows when it ended */
    m.row[0].complete = false;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* the first of the two is none; nor is the first of all */
    m.own = 0;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* the third breath, on time */
    m.own = 2;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

/* Two or three follow the first: each from the second on. */
static void threes(void **state) {
    (void)state;
    struct made m;
    made_breaths(&m, 3, KIND_SUPPORTED, INIT_PATIENT, CONTROL_PRESSURE);
    double t0 = made_t0(0);
    for (int k = 0; k < 3; k++) {
        made_times(&m, k, t0 + 1.2 * k, t0 + 1.2 * k + TI_S, t0 + 1.2 * (k + 1));
        m.row[k].v[COL_vte_ml] = 80;
    }
    made_effort(&m, t0 - 0.1, t0 + 2.5, 12);
    for (m.own = 0; m.own < 3; m.own++)
        assert_int_equal(made_judged(&m, P), m.own ? CONF_DEFINITE : CONF_NONE);
}

static void unjudged(void **state) {
    (void)state;
    struct made m;
    scene(&m); /* a gap hides what came out between */
    m.row[0].v[COL_vte_ml] = (double)NAN;
    m.row[0].why[COL_vte_ml] = WHY_gap;
    assert_int_equal(made_unjudged(&m, P), WHY_gap);
    for (int k = 0; k < 2; k++) {
        scene(&m);
        m.row[k].v[COL_vti_ml] = (double)NAN;
        assert_int_equal(made_unjudged(&m, P), WHY_gap);
        m.row[1].quality = UINT64_C(1) << WHY_event;
        assert_int_equal(made_unjudged(&m, P), WHY_event);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side), cmocka_unit_test(definite_or_possible), cmocka_unit_test(evidence),
        cmocka_unit_test(alike),       cmocka_unit_test(threes),               cmocka_unit_test(unjudged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
