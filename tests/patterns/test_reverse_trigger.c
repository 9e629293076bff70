/* Reverse trigger: runs of 1:1, 1:2 and 1:3, how much delays may scatter, and what only looks like it. */
#include "tests/patterns/window.h"

#define P PATTERN_reverse_trigger
#define N (2 * PATTERN_REACH + 1)

static void clocked(struct made *m) {
    made_breaths(m, N, KIND_MANDATORY, INIT_MACHINE, CONTROL_PRESSURE);
}

static void follow(struct made *m, int k, double delay_s) {
    made_effort(m, made_t0(k) + delay_s, made_t0(k) + delay_s + 0.6, 6);
}

/* After every step-th inflation, the judged one among them. */
static void every(struct made *m, int step) {
    clocked(m);
    for (int k = m->own % step; k < N; k += step)
        follow(m, k, 0.5);
}

static void scene(struct made *m) {
    every(m, 1);
}

/* Delays a over and under 0.6 s in turn: of five on end the variance is 4.8 a^2 / 4. */
static void put_spread(struct made *m, double threshold, int side) {
    clocked(m);
    double a = (threshold - side * HAIR_S) / sqrt(1.2);
    for (int k = 0; k < N; k++)
        follow(m, k, 0.6 + (k % 2 ? a : -a));
}

static void put_size(struct made *m, double threshold, int side) {
    scene(m);
    for (int i = 0; i < m->n_efforts; i++)
        m->effort[i].peak_cmh2o = threshold + side * HAIR;
}

static void put_heart(struct made *m, double threshold, int side) {
    put_size(m, 4 * threshold, side);
    for (int k = 0; k < N; k++)
        m->muscle[k].heart_cmh2o = 4;
}

static void either_side(void **state) {
    (void)state;
    made_edge(P, "spread_s", put_spread);
    made_edge(P, "size_cmh2o", put_size);
    made_edge(P, "heart_ratio", put_heart);
}

static void runs(void **state) {
    (void)state;
    static const char *const ratio[] = {"", "1:1", "1:2", "1:3"};
    struct made m;
    for (int step = 1; step <= 3; step++) {
        every(&m, step);
        struct pattern_verdict v = made_verdict(&m, P);
        assert_int_equal(v.confidence, CONF_POSSIBLE); /* never definite without oesophageal pressure */
        assert_string_equal(made_word(&v, "ratio"), ratio[step]);
        assert_true(made_number(&v, "delay_sd_s") < 0.001);
        m.own++; /* those between have none */
        assert_int_equal(made_judged(&m, P), step == 1 ? CONF_POSSIBLE : CONF_NONE);
    }
    every(&m, 4);
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    clocked(&m); /* one alone, two */
    follow(&m, m.own, 0.5);
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    follow(&m, m.own + 1, 0.5);
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    follow(&m, m.own + 3, 0.5); /* three of five */
    assert_int_equal(made_judged(&m, P), CONF_POSSIBLE);
    struct pattern_verdict v = made_verdict(&m, P);
    assert_string_equal(made_word(&v, "ratio"), "mixed");
    assert_int_equal((int)made_number(&v, "of_run"), 3);
}

static void evidence(void **state) {
    (void)state;
    struct made m;
    scene(&m);
    made_whole(&m, P);
    struct pattern_verdict v = made_verdict(&m, P);
    assert_int_equal(v.at_ns, m.row[m.own].t0_ns + NS_PER_S / 2);
    assert_true(fabs(made_number(&v, "delay_s") - 0.5) < 1e-6 && fabs(made_number(&v, "phase_deg") - 45) < 1e-4); /* of 4 s */
    assert_int_equal((int)made_number(&v, "of_run"), 5);
    m.row[m.own].v[COL_ttot_s] = (double)NAN;
    v = made_verdict(&m, P);
    assert_int_equal(v.confidence, CONF_POSSIBLE);
    assert_int_equal(v.n, 7);
}

/* Until half is breathed out: 0.7 time constants after the inflation, where none is known 0.35 s. */
static void late_ones(void **state) {
    (void)state;
    static const struct {
        double delay_s, tau_s;
        bool is;
    } row[] = {{1.34, 0, true}, {1.36, 0, false}, {1.5, 0.8, true}, {1.6, 0.8, false}, {1.2, 0.2, false}, {0.03, 0, true}, {0.01, 0, false}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        struct made m;
        clocked(&m);
        for (int k = 0; k < N; k++) {
            follow(&m, k, row[i].delay_s);
            if (row[i].tau_s > 0)
                m.exp[k] = (struct expiration){.why_tail = WHY_NONE, .tau_s = row[i].tau_s};
        }
        assert_int_equal(made_judged(&m, P) != CONF_NONE, row[i].is);
    }
}

/* A patient of his own rhythm: 3.7 s against the clock's 4 s moves each delay by 0.3 s, and no five are alike. */
static void near_the_clock(void **state) {
    (void)state;
    struct made m;
    for (double period = 3.5; period < 4.45; period += 0.1) {
        if (fabs(period - 4) < 0.25)
            continue;
        clocked(&m);
        for (double at = made_t0(0) + 0.37; at < made_t0(N) && m.n_efforts < 64; at += period)
            made_effort(&m, at, at + 0.6, 6);
        for (m.own = 0; m.own < N; m.own++)
            assert_int_equal(made_judged(&m, P), CONF_NONE);
    }
    clocked(&m); /* and one whose delays are anything: 0.1 to 1.3 s, in golden steps */
    for (int k = 0; k < N; k++)
        follow(&m, k, 0.1 + 1.2 * fmod(0.618034 * k, 1));
    for (m.own = 0; m.own < N; m.own++)
        assert_int_equal(made_judged(&m, P), CONF_NONE);
}

/* The spike of collapsing airways on a slow tail: no linear lung, from 0.1 s before to 0.3 s after the start of expiration. */
static void spikes(void **state) {
    (void)state;
    static const struct expiration spike = {.peak_ratio = 1.4, .drop = 0.5, .tau_s = 2}, tail = {.peak_ratio = 0.9, .drop = 0.07, .tau_s = 2};
    for (double after = -0.15; after < 0.36; after += 0.1)
        for (int limited = 0; limited < 2; limited++) {
            struct made m;
            clocked(&m);
            for (int k = 0; k < N; k++) {
                follow(&m, k, TI_S + after);
                m.exp[k] = limited ? spike : tail;
            }
            enum confidence got = made_judged(&m, P);
            assert_int_equal(got != CONF_NONE, !limited || after < -0.1 || after > 0.3);
        }
}

static void alike(void **state) {
    (void)state;
    struct made m;
    scene(&m); /* insufficient flow: there the patient began */
    for (int k = 0; k < N; k++)
        m.row[k].initiation = INIT_PATIENT;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    scene(&m);
    for (int k = 0; k < N; k++)
        m.row[k].kind = KIND_UNASSISTED;
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    put_size(&m, 3, 0); /* the heart: 3 cmH2O where a beat is 2 */
    for (int k = 0; k < N; k++)
        m.muscle[k].heart_cmh2o = 3.01 / *made_param(&m, P, "heart_ratio");
    assert_int_equal(made_judged(&m, P), CONF_NONE);
    clocked(&m); /* efforts that go before the inflations */
    for (int k = 0; k < N; k++)
        follow(&m, k, -0.2);
    assert_int_equal(made_judged(&m, P), CONF_NONE);
}

static void unjudged(void **state) {
    (void)state;
    struct made m;
    made_unfit(P, scene);
    /* wrong constants leave a hump in every inflation: an effort under two standard deviations is not told from it */
    for (int rough = 0; rough < 2; rough++)
        for (int side = -1; side <= 1; side += 2) {
            scene(&m);
            struct effort *e = &m.effort[m.own];
            e->quality = rough ? MECHANICS_POOR : MECHANICS_FAIR;
            e->sd_cmh2o = 0.5 * (e->peak_cmh2o - side * HAIR);
            assert_int_equal(made_unjudged(&m, P), rough && side < 0 ? WHY_no_mechanics : WHY_NONE);
        }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(either_side),    cmocka_unit_test(runs),  cmocka_unit_test(evidence), cmocka_unit_test(late_ones),
        cmocka_unit_test(near_the_clock), cmocka_unit_test(spikes), cmocka_unit_test(alike), cmocka_unit_test(unjudged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
