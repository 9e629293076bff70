/* Pressure overshoot: its height, and its share of the plateau. */
#include "tests/patterns/window.h"

#define P PATTERN_pressure_overshoot

/* A plateau of so much above the 5 cmH2O that the inflation began from. */
static void over(struct made *m, double over_cmh2o, double above) {
    made_breaths(m, 3, KIND_SUPPORTED, INIT_PATIENT, CONTROL_PRESSURE);
    struct overshoot *x = &m->over[m->own];
    x->over_cmh2o = over_cmh2o;
    x->plateau_cmh2o = 5 + above;
    x->at_ns = m->row[m->own].t0_ns + NS_PER_S / 10;
}

static void scene(struct made *m) {
    over(m, 5, 15);
}

static void put_over(struct made *m, double threshold, int side) {
    over(m, threshold + side * HAIR, 4);
}

static void put_share(struct made *m, double threshold, int side) {
    over(m, 6 * (1 + side * HAIR), 600 / threshold);
}

static void either_side(void **state) {
    (void)state;
    made_edge(P, "over_cmh2o", put_over);
    made_edge(P, "over_pct", put_share);
}

/* The bounds of "definite" are the truth's: 3 cmH2O and 15 %. */
static void definite_or_possible(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
    made_whole(&m, P);
    static const struct {
        double over, above;
        enum confidence is;
    } row[] = {{3.05, 10, CONF_DEFINITE}, {2.95, 10, CONF_POSSIBLE}, {4, 26, CONF_DEFINITE}, {4, 27.5, CONF_POSSIBLE}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        over(&m, row[i].over, row[i].above);
        assert_int_equal(made_judged(&m, P), row[i].is);
    }
    scene(&m);
    m.rate_hz = 49;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    scene(&m);
    m.over[m.own].plateau_s = 0.19;
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    m.time_scale = 0.5; /* an infant's may be half as long */
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
}

static void evidence(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    struct pattern_verdict v = made_verdict(&m, P);
    assert_int_equal(v.at_ns, m.over[m.own].at_ns);
    assert_true(fabs(made_number(&v, "over_pct") - 100 * 5.0 / 15) < 1e-9 && fabs(made_number(&v, "peak_after_s") - 0.1) < 1e-9);
    assert_true(made_number(&v, "over_cmh2o") == 5 && made_number(&v, "plateau_cmh2o") == 20);
}

static void alike(void **state) {
    (void)state;
    struct made m;
    static const enum breath_control other[] = {CONTROL_VOLUME, CONTROL_NONE, CONTROL_UNKNOWN};
    for (int i = 0; i < 3; i++) { /* volume control rises to its peak, and a step of flow is no overshoot */
        scene(&m);
        m.row[m.own].control = other[i];
        assert_int_equal(made_judged(&m, P), CONF_NONE);
    }
    over(&m, -4, 15); /* a rise at the end of inspiration lifts the plateau, not the peak */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    over(&m, 3, 0); /* no plateau above the start: the share stays finite */
    struct pattern_verdict v = made_verdict(&m, P);
    assert_true(isfinite(made_number(&v, "over_pct")));
}

static void unjudged(void **state) {
    (void)state;
    static const enum reason code[] = {WHY_gap, WHY_event};
    struct made m;
    for (int i = 0; i < 2; i++) {
        scene(&m);
        m.row[m.own].quality = UINT64_C(1) << code[i];
        assert_int_equal(made_unjudged(&m, P), code[i]);
    }
    scene(&m);
    m.over[m.own].over_cmh2o = (double)NAN;
    assert_int_equal(made_unjudged(&m, P), WHY_breath_short);
    scene(&m); /* what the muscles do need not be known */
    m.row[m.own].v[COL_effort] = (double)NAN;
    memset(m.muscle, 0, sizeof m.muscle);
    assert_int_equal(made_judged(&m, P), CONF_DEFINITE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side), cmocka_unit_test(definite_or_possible), cmocka_unit_test(evidence),
        cmocka_unit_test(alike),       cmocka_unit_test(unjudged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
