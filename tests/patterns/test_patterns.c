/* Patterns of expiration: what is read of flows of closed form, each parameter from either side, and what only looks like it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "analyze/patterns/pattern.h"

#define RATE 100.0
#define T1_S 1.0
#define E    20.0

/* Passive expiration of one compartment, V = VT + stays, tau = RE / E: volume control, VT 0.5 L, RE 28, 1.5 s of expiration, in
 * its steady state 260.5 mL stay, which is 5.21 cmH2O (equation of motion: V = VT / (exp(Te/tau) - 1)). */
#define RE 28.0
#define TE 1.5

static double one(double t) {
    double tau = RE / E, stays = 0.5 / (exp(TE / tau) - 1);
    return (0.5 + stays) / tau * exp(-t / tau);
}

/* A collapse: a spike on top of a slow straight tail. */
static double collapsed(double t) {
    return 0.25 * exp(-t / 2.5) + 0.6 * exp(-t / 0.06);
}

static struct expiration read_at(double (*flow)(double), double te_s, double leak_l_s) {
    struct ring r;
    assert_int_equal(ring_init(&r, RATE, INT64_C(15000000), 30), TM_OK);
    int n = (int)((T1_S + te_s) * RATE + 0.5);
    for (int i = 0; i <= n; i++) {
        double t = i / RATE - T1_S;
        ring_push(&r, (int64_t)(i * 1e9 / RATE), 5, (t < 0 ? 0.5 : -flow(t)) + leak_l_s);
    }
    struct expiration x = {.e_cmh2o_l = E, .e_sd_ln = 0.05, .e_measured = true, .re_cmh2o_s_l = (double)NAN, .k2 = (double)NAN};
    struct expiration_in in = {.t1_ns = (int64_t)(T1_S * 1e9), .end_ns = (int64_t)((T1_S + te_s) * 1e9), .i1 = (uint64_t)(T1_S * RATE),
                               .end = (uint64_t)n, .leak_l_s = leak_l_s, .q_sd_l_s = 0.001, .p_sd_cmh2o = 0.01, .least_l = 0.02};
    expiration_read(&r, &in, &x);
    ring_free(&r);
    return x;
}

static void closed_form(void **state) {
    (void)state;
    struct expiration x = read_at(one, TE, 0);
    assert_int_equal(x.why, WHY_NONE);
    assert_int_equal(x.why_tail, WHY_NONE);
    assert_true(fabs(x.q_end_l_s - 0.186) < 0.006); /* 50 ms before the end: exp(0.025/1.4) more */
    assert_true(fabs(x.r_end_cmh2o_s_l - RE) < 0.3);
    assert_true(fabs(x.r_end_cmh2o_s_l * x.q_end_l_s - 5.21) < 0.2);
    assert_true(fabs(x.tau_s - RE / E) < 0.02);
    assert_true(fabs(x.peak_ratio - 1) < 0.02 && fabs(x.drop - (1 - exp(-0.15 * E / RE))) < 0.01);
    /* the same lung with a leak of 0.1 L/s that is known */
    struct expiration leaky = read_at(one, TE, 0.1);
    assert_true(fabs(leaky.q_end_l_s - x.q_end_l_s) < 1e-9 && fabs(leaky.r_end_cmh2o_s_l - x.r_end_cmh2o_s_l) < 1e-6);
    struct expiration c = read_at(collapsed, 2.5, 0);
    assert_int_equal(c.why_tail, WHY_NONE);
    assert_true(c.peak_ratio > 2 && c.drop > 0.5 && fabs(c.tau_s - 2.5) < 0.1);
    assert_int_equal(read_at(one, 0.1, 0).why, WHY_breath_short);
}

/* 25 breaths alike, of which the middle one is judged. */
struct bench {
    struct breath_row row;
    struct expiration exp;
    int n;
    double flow_scale, rate_hz;
};

static struct bench usual(struct expiration x) {
    struct bench b = {.exp = x, .n = 25, .flow_scale = 1, .rate_hz = RATE};
    b.row.complete = true;
    b.row.t1_ns = (int64_t)(T1_S * 1e9);
    for (int c = 0; c < COL_N; c++)
        b.row.v[c] = (double)NAN;
    return b;
}

static struct pattern_verdict verdict(enum pattern_id p, const struct bench *b, const char *name, double value) {
    struct pattern_settings s;
    const char *why;
    pattern_defaults(&s);
    if (name)
        assert_true(pattern_set(&s, name, strlen(name), value, &why));
    struct pattern_window w = {.n = b->n, .own = b->n / 2, .flow_scale = b->flow_scale, .time_scale = 1, .rate_hz = b->rate_hz};
    for (int i = 0; i < b->n; i++)
        w.at[i] = (struct pattern_breath){.row = &b->row, .exp = &b->exp};
    struct pattern_verdict v;
    memset(&v, 0, sizeof v);
    pattern_of(p)->judge(&w, s.v[p], &v);
    return v;
}

#define IE PATTERN_incomplete_exhalation
#define FL PATTERN_flow_limitation

static int confidence(enum pattern_id p, const struct bench *b, const char *name, double value) {
    struct pattern_verdict v = verdict(p, b, name, value);
    assert_int_equal(v.unjudged, WHY_NONE);
    return (int)v.confidence;
}

/* Trapped by q L/s against 10 cmH2O s/L. */
static struct bench trapped(double q) {
    return usual((struct expiration){.q_end_l_s = q, .r_end_cmh2o_s_l = 10, .r_end_sd = 0.2, .e_cmh2o_l = E, .e_sd_ln = 0.05,
                                     .e_measured = true, .re_cmh2o_s_l = (double)NAN, .k2 = (double)NAN, .te_s = 1, .tau_s = 0.6,
                                     .q0_l_s = 1.5, .effort_cmh2o = (double)NAN, .end_ns = INT64_C(2000000000),
                                     .ri_cmh2o_s_l = (double)NAN, .out.drive_cmh2o = (double)NAN});
}

static void trapped_either_side(void **state) {
    (void)state;
    struct bench b = trapped(0.2); /* 2.0 cmH2O, 0.108 of it unsure */
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_DEFINITE);
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.pressure_cmh2o", 1.95), CONF_DEFINITE);
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.pressure_cmh2o", 2.05), CONF_NONE);
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.sure_pressure_cmh2o", 1.85), CONF_DEFINITE);
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.sure_pressure_cmh2o", 1.95), CONF_POSSIBLE);
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.sure_flow_l_s", 0.19), CONF_DEFINITE);
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.sure_flow_l_s", 0.21), CONF_POSSIBLE);
    struct bench little = trapped(0.06);
    little.exp.r_end_cmh2o_s_l = 30;
    assert_int_equal(confidence(IE, &little, "incomplete_exhalation.flow_l_s", 0.055), CONF_POSSIBLE);
    assert_int_equal(confidence(IE, &little, "incomplete_exhalation.flow_l_s", 0.065), CONF_NONE);
    struct bench leaks = trapped(0.2);
    leaks.row.v[COL_leak_pct] = 12;
    assert_int_equal(confidence(IE, &leaks, NULL, 0), CONF_POSSIBLE);
    assert_int_equal(confidence(IE, &leaks, "incomplete_exhalation.leak_pct", 13), CONF_POSSIBLE);
    assert_int_equal(verdict(IE, &leaks, "incomplete_exhalation.leak_pct", 11).unjudged, WHY_leak_high);
    /* an infant's 0.02 L/s against 100 cmH2O s/L are as much */
    struct bench infant = trapped(0.02);
    infant.exp.r_end_cmh2o_s_l = 100;
    assert_int_equal(confidence(IE, &infant, NULL, 0), CONF_NONE);
    infant.flow_scale = 0.1;
    assert_int_equal(confidence(IE, &infant, NULL, 0), CONF_DEFINITE);
}

static void trapped_alike(void **state) {
    (void)state;
    struct bench b = trapped(0.2);
    b.exp.e_measured = false; /* an elastance that is only assumed */
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_POSSIBLE);
    b = trapped(0.2);
    b.row.quality = UINT64_C(1) << WHY_event; /* suction, a hold */
    assert_int_equal(verdict(IE, &b, NULL, 0).unjudged, WHY_event);
    b = trapped(0.2);
    b.exp.tau_s = 0.2; /* 1.5 exp(-5) = 0.01 L/s would be left of a passive lung's flow: it was pushed */
    assert_int_equal(verdict(IE, &b, NULL, 0).unjudged, WHY_effort_suspected);
    b.exp.braked = true; /* an effort in mid-expiration held it back, and is over */
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_DEFINITE);
    b.exp.cut = true;
    b.exp.effort_cmh2o = 3; /* that "effort" and the one that ends it: a push and its release */
    assert_int_equal(verdict(IE, &b, NULL, 0).unjudged, WHY_effort_suspected);
    b = trapped(0.2);
    b.exp.cut = true;
    b.exp.effort_cmh2o = 3;
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_DEFINITE);
    b.exp.effort_cmh2o = 1.5; /* too weak to have turned flow against 2.0 cmH2O */
    assert_int_equal(verdict(IE, &b, NULL, 0).unjudged, WHY_effort_suspected);
    b = trapped(-0.2); /* a leak that nobody knows of: flow goes in */
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
    b = trapped(0.2);
    b.row.complete = false;
    b.row.why[COL_ttot_s] = WHY_gap;
    assert_int_equal(verdict(IE, &b, NULL, 0).unjudged, WHY_gap);
    b = trapped(0.2);
    b.row.autopeep_basis = AUTOPEEP_HOLD; /* a hold that shows nothing trapped wins */
    b.row.v[COL_autopeep_cmh2o] = 0.3;
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
}

/* What flow alone says too little of. */
static void trapped_by_line(void **state) {
    (void)state;
    /* 12 cmH2O at the end of inspiration, 0.2 L/s of inspired flow over 10: 10 exp(-1/0.6) = 1.89 are left of it */
    struct bench b = trapped(0.08);
    b.exp.out = (struct outflow){.drive_cmh2o = 12, .q_in_l_s = 0.2};
    b.exp.ri_cmh2o_s_l = 10;
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.pressure_cmh2o", 1.85), CONF_POSSIBLE);
    assert_int_equal(confidence(IE, &b, "incomplete_exhalation.pressure_cmh2o", 1.93), CONF_NONE);
    b.exp.why_tail = WHY_below_resolution; /* no line: 0.8 by flow */
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
    /* an effort that was not found has pulled flow down, in a breath of the patient's: 1.5 exp(-0.9/0.6) = 0.33 L/s before */
    b = trapped(0.02);
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
    b.row.initiation = INIT_PATIENT;
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_POSSIBLE);
    b.exp.cut = true; /* it was found, and flow ends before it */
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
    /* no tail: at the end of so short an expiration flow is high by itself (Re/E is 0.6 s), in a longer one it is pushed */
    b = trapped(0.3);
    b.exp.cut = true;
    b.exp.effort_cmh2o = 8;
    b.exp.tau_s = (double)NAN;
    b.exp.re_cmh2o_s_l = 12;
    b.exp.te_s = 0.5;
    assert_int_not_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
    b.exp.te_s = 0.7;
    assert_int_equal(verdict(IE, &b, NULL, 0).unjudged, WHY_effort_suspected);
    /* a large leak may be a third less: 0.2 less 0.3 of 0.6 L/s */
    b = trapped(0.2);
    b.row.v[COL_leak_pct] = 40;
    b.exp.leak_l_s = 0.2;
    assert_int_not_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
    b.exp.leak_l_s = 0.6;
    assert_int_equal(confidence(IE, &b, NULL, 0), CONF_NONE);
}

static struct bench limited(void) {
    return usual((struct expiration){.peak_ratio = 1.4, .drop = 0.45, .tau_s = 2.0, .r_end_cmh2o_s_l = (double)NAN,
                                     .re_cmh2o_s_l = (double)NAN, .ri_cmh2o_s_l = (double)NAN, .out.yield = (double)NAN});
}

static void limited_either_side(void **state) {
    (void)state;
    struct bench b = limited();
    assert_int_equal(confidence(FL, &b, NULL, 0), CONF_POSSIBLE);
    b.exp.peak_ratio = 1.1;
    assert_int_equal(confidence(FL, &b, "flow_limitation.peak_ratio", 1.09), CONF_POSSIBLE);
    assert_int_equal(confidence(FL, &b, "flow_limitation.peak_ratio", 1.11), CONF_NONE);
    b = limited(); /* passive, 1 - exp(-0.15/2) = 0.0723 would be gone; 0.35 less the margin is 4.84 times that */
    b.exp.drop = 0.30;
    assert_int_equal(confidence(FL, &b, "flow_limitation.drop_factor", 2.7), CONF_POSSIBLE);
    assert_int_equal(confidence(FL, &b, "flow_limitation.drop_factor", 2.8), CONF_NONE);
    assert_int_equal(confidence(FL, &b, "flow_limitation.drop_margin", 0.17), CONF_POSSIBLE);
    assert_int_equal(confidence(FL, &b, "flow_limitation.drop_margin", 0.18), CONF_NONE);
    assert_int_equal(confidence(FL, &b, "flow_limitation.tau_s", 1.99), CONF_POSSIBLE);
    assert_int_equal(confidence(FL, &b, "flow_limitation.tau_s", 2.01), CONF_NONE);
    b.row.v[COL_leak_pct] = 15;
    assert_int_equal(confidence(FL, &b, "flow_limitation.leak_pct", 16), CONF_POSSIBLE);
    assert_int_equal(verdict(FL, &b, "flow_limitation.leak_pct", 14).unjudged, WHY_leak_high);
    b = limited();
    struct pattern_verdict few = verdict(FL, &b, "flow_limitation.breaths", 5);
    assert_int_equal((int)few.evidence[7].number, 5);
    assert_int_equal((int)verdict(FL, &b, NULL, 0).evidence[7].number, 25);
}

static void limited_alike(void **state) {
    (void)state;
    /* one passive compartment; the spike of a collapse is told from the same samples */
    struct bench b = usual(read_at(one, TE, 0));
    assert_int_equal(confidence(FL, &b, NULL, 0), CONF_NONE);
    b = usual(read_at(collapsed, 2.5, 0));
    assert_int_equal(confidence(FL, &b, NULL, 0), CONF_POSSIBLE); /* never definite: no natural test was seen */
    b.exp.out.rises = 0.3;
    b.exp.disturbed = true; /* muscles over the start of expiration fake a spike */
    assert_int_equal(verdict(FL, &b, NULL, 0).unjudged, WHY_few_breaths);
    b = limited();
    b.n = 2;
    assert_int_equal(verdict(FL, &b, NULL, 0).unjudged, WHY_few_breaths);
    b = limited();
    b.rate_hz = 20;
    assert_int_equal(verdict(FL, &b, NULL, 0).unjudged, WHY_rate_low);
    b = limited();
    b.row.quality = UINT64_C(1) << WHY_event;
    assert_int_equal(verdict(FL, &b, NULL, 0).unjudged, WHY_event);
}

static void tables_are_whole(void **state) {
    (void)state;
    struct pattern_settings s;
    const char *why;
    pattern_defaults(&s);
    for (int p = 0; p < PATTERN_N; p++) {
        const struct pattern *d = pattern_of((enum pattern_id)p);
        if (!d)
            continue;
        assert_true(d->signature[0] && d->confidence[0] && d->alike[0] && d->judge);
        int n = 0;
        for (const struct pattern_param *q = d->params; q->name; q++, n++) {
            assert_true(q->low <= q->dflt && q->dflt <= q->high && q->meaning[0] && q->source[0]);
            assert_true(s.v[p][n] == q->dflt);
            char name[128];
            int len = snprintf(name, sizeof name, "%s.%s", pattern_name((enum pattern_id)p), q->name);
            assert_true(pattern_set(&s, name, (size_t)len, q->high, &why) && s.v[p][n] == q->high);
            assert_false(pattern_set(&s, name, (size_t)len, q->high + 1, &why));
            assert_false(pattern_set(&s, name, (size_t)len, (double)NAN, &why));
            assert_false(pattern_set(&s, name, (size_t)len - 1, q->dflt, &why));
        }
        assert_in_range(n, 1, PATTERN_PARAMS);
        for (const struct pattern_evidence *e = d->evidence; e->key; e++)
            assert_true(e->meaning[0]);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(closed_form),         cmocka_unit_test(trapped_either_side), cmocka_unit_test(trapped_alike),
        cmocka_unit_test(trapped_by_line),
        cmocka_unit_test(limited_either_side), cmocka_unit_test(limited_alike),       cmocka_unit_test(tables_are_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
