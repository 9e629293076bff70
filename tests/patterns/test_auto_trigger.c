/* Auto-trigger: how little is left of an effort, how many breaths are like it, and what only looks like one. */
#include "tests/patterns/window.h"

#define P PATTERN_auto_trigger

static void scene(struct made *m) {
    made_breaths(m, 11, KIND_SUPPORTED, INIT_PATIENT, CONTROL_PRESSURE);
}

static void all_after(struct made *m, double after, double heart) {
    scene(m);
    for (int k = 0; k < m->n; k++) {
        m->muscle[k].after_cmh2o = after;
        m->muscle[k].heart_cmh2o = heart;
    }
}

static void put_after(struct made *m, double threshold, int side) {
    all_after(m, threshold - side * HAIR, 0);
}

static void put_heart(struct made *m, double threshold, int side) {
    all_after(m, 4 * threshold - side * HAIR, 4);
}

/* So many of breaths 0 to 9, the judged one among them, the others with an effort. */
static void like(struct made *m, int n) {
    scene(m);
    for (int k = 0; k < 10; k++) {
        int rank = k == m->own ? 0 : k < m->own ? k + 1 : k;
        if (rank >= n)
            made_effort(m, made_t0(k) - 0.1, made_t0(k) + 0.6, 6);
    }
}

static void put_of_ten(struct made *m, double threshold, int side) {
    like(m, (int)ceil(threshold) - (side < 0));
}

static void put_of_ten_leak(struct made *m, double threshold, int side) {
    like(m, (int)ceil(0.5 * threshold) - (side < 0));
    m->row[m->own].v[COL_leak_pct] = 16;
}

static void put_of_ten_heart(struct made *m, double threshold, int side) {
    like(m, (int)ceil(0.5 * threshold) - (side < 0));
    m->muscle[m->own].heart_cmh2o = 0.6;
}

/* Beats so far before the starts, in turn; one of ten was not seen. The scatter of nine: 1.4826 times how far all but one lie off. */
static void beats(struct made *m, double off_s) {
    all_after(m, 5, 0.6);
    static const int way[] = {0, 1, -1, 1, 0, 1, -1, 1, -1, -1};
    for (int k = 1; k < 10; k++)
        m->beat[k].before_s = 0.3 + way[k] * off_s;
}

static void put_lock(struct made *m, double threshold, int side) {
    beats(m, (threshold - side * HAIR_S) / 1.4826);
}

static void either_side(void **state) {
    (void)state;
    made_edge(P, "after_cmh2o", put_after);
    made_edge(P, "heart_ratio", put_heart);
    made_edge(P, "lock_s", put_lock);
    made_edge(P, "of_ten", put_of_ten);
    made_edge(P, "of_ten", put_of_ten_leak);
    made_edge(P, "of_ten", put_of_ten_heart);
}

static void evidence(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    beats(&m, 0.01);
    made_whole(&m, P);
    struct pattern_verdict v = made_verdict(&m, P);
    assert_string_equal(made_word(&v, "cause"), "heartbeat");
    assert_true(fabs(made_number(&v, "lock_s") - 0.014826) < 1e-6 && fabs(made_number(&v, "beat_before_s") - 0.31) < 1e-6);
    scene(&m);
    v = made_verdict(&m, P);
    assert_int_equal(v.confidence, CONF_POSSIBLE); /* never definite without oesophageal pressure */
    assert_int_equal(v.at_ns, m.row[m.own].t0_ns);
    assert_string_equal(made_word(&v, "cause"), "none_seen");
    assert_int_equal((int)made_number(&v, "of_ten"), 10);
    assert_true(made_number(&v, "thr_cmh2o") == *made_param(&m, P, "after_cmh2o"));
    m.row[m.own].v[COL_leak_pct] = 25;
    v = made_verdict(&m, P);
    assert_string_equal(made_word(&v, "cause"), "leak");
    m.muscle[m.own].heart_cmh2o = 3;
    v = made_verdict(&m, P);
    assert_string_equal(made_word(&v, "cause"), "heart");
    assert_true(made_number(&v, "thr_cmh2o") == fmax(*made_param(&m, P, "after_cmh2o"), 3 * *made_param(&m, P, "heart_ratio")));
}

static void beats_alike(void **state) {
    (void)state;
    struct made m;
    beats(&m, 0.01);
    m.muscle[m.own].quality = MECHANICS_POOR; /* what is in step with the heart needs no mechanics */
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    double t1 = made_t0(m.own) + TI_S;
    struct effort *e = made_effort(&m, t1 - TI_S - 0.05, t1 + 0.05, 5); /* ends with the inflation: a wrong model makes such */
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    e->neural_end_ns = m.row[m.own].t1_ns - NS_PER_S / 3; /* an effort that is the patient's */
    assert_int_not_equal(made_verdict(&m, P).confidence, CONF_POSSIBLE);
    beats(&m, 0.01); /* a push that ends as the next effort begins keeps step by itself */
    m.muscle[m.own].push_cmh2o = 5;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    beats(&m, 0.01); /* a heart too small to fire anything */
    for (int k = 0; k < m.n; k++)
        m.muscle[k].heart_cmh2o = 0.3;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    beats(&m, 0.01); /* five are too few */
    for (int k = 0; k < 5; k++)
        m.beat[k].before_s = (double)NAN;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

static void alike(void **state) {
    (void)state;
    struct made m;
    scene(&m); /* a weak effort, found */
    made_effort(&m, made_t0(m.own) - 0.05, made_t0(m.own) + 0.5, 1.6);
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    all_after(&m, 4, 0); /* a push that was let go, or an effort that nobody found: what rose stays up */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m); /* a clock's breath, one of the patient's own, the operator's */
    static const enum breath_kind other[] = {KIND_MANDATORY, KIND_UNASSISTED, KIND_MANUAL, KIND_UNKNOWN};
    for (int i = 0; i < 4; i++) {
        m.row[m.own].kind = other[i];
        assert_int_equal(made_judged(&m, P), CONF_NONE);
    }
    like(&m, 1); /* one alone */
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

/* At the ends of a recording fewer than ten are about it: so many have to be there all the same. */
static void ends(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    for (m.own = 0; m.own < m.n; m.own++) {
        int about = m.own <= 5 ? 10 : m.n - (m.own - 5);
        assert_int_equal(made_judged(&m, P), about >= *made_param(&m, P, "of_ten") ? CONF_POSSIBLE : CONF_NONE);
    }
}

static void unjudged(void **state) {
    (void)state;
    struct made m;
    made_unfit(P, scene);
    scene(&m);
    m.muscle[m.own].quality = MECHANICS_POOR;
    assert_int_equal(made_unjudged(&m, P), WHY_no_mechanics);
    scene(&m);
    memset(&m.muscle[m.own], 0, sizeof m.muscle[m.own]); /* not read */
    assert_int_equal(made_unjudged(&m, P), WHY_no_mechanics);
    scene(&m); /* an inflation too short for its muscle pressure to be read: nothing seen is not nothing there */
    m.muscle[m.own].after_cmh2o = (double)NAN;
    assert_int_equal(made_unjudged(&m, P), WHY_breath_short);
    made_effort(&m, made_t0(m.own) - 0.1, made_t0(m.own) + 0.4, 6);
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side), cmocka_unit_test(evidence), cmocka_unit_test(beats_alike), cmocka_unit_test(alike),
        cmocka_unit_test(ends),        cmocka_unit_test(unjudged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
