/* Does flow out follow its pressure: lungs integrated here by the equation of motion, free or capped, behind a valve that opens
 * with a time constant; and each parameter of the pattern that goes by it, from either side. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/patterns/pattern.h"

#define T1_S   1.0
#define TE_S   3.0
#define PEEP   5.0
#define E      20.0
#define START  0.6 /* L above relaxation at PEEP: 12 cmH2O */
#define STEP_S 1e-4

/* R q = E V - (p - PEEP) with R = re + k2 q, at most V/cap_s; p falls from its start to PEEP + valve q. */
struct lung {
    double re, k2, cap_s, valve_s, valve_r;

};

static double free_flow(const struct lung *l, double drive) {
    if (drive <= 0)
        return 0;
    return l->k2 > 0 ? (sqrt(l->re * l->re + 4 * l->k2 * drive) - l->re) / (2 * l->k2) : drive / l->re;
}

/* What is read of its expiration. */
static struct outflow breathe(const struct lung *l, double rate_hz, double flow_late_s) {
    struct ring r;
    assert_int_equal(ring_init(&r, rate_hz, (int64_t)(1.5e9 / rate_hz), 10), TM_OK);
    double v = START, q = 0, past[2000] = {0};
    const int late = (int)(flow_late_s / STEP_S), every = (int)(1 / rate_hz / STEP_S + 0.5);
    const int first = -(int)(T1_S / STEP_S), last = (int)(TE_S / STEP_S);
    uint64_t i1 = 0, end = 0;
    double out_l = 0;
    assert_in_range(late, 0, 1999);
    for (int k = first; k <= last; k++) {
        double t = k * STEP_S, p = PEEP + E * START;
        if (k > 0) {
            double opens = exp(-t / l->valve_s);
            p = PEEP + l->valve_r * q * (1 - opens) + E * START * opens;
            q = free_flow(l, E * v - (p - PEEP));
            if (l->cap_s > 0)
                q = fmin(q, v / l->cap_s);
            v -= q * STEP_S;
            out_l += q * STEP_S;
        }
        past[(k - first) % 2000] = q;
        if ((k - first) % every == 0) {
            double told = k - late >= first ? past[(k - late - first) % 2000] : 0;
            if (k <= 0)
                i1 = r.end;
            ring_push(&r, (int64_t)((t + T1_S) * 1e9 + 0.5), p, -told);
        }
    }
    end = r.end - 1;
    struct outflow x;
    outflow_read(&r, i1, end, flow_late_s, 0, out_l, &x);
    ring_free(&r);
    return x;
}

#define FREE {.re = 12, .valve_s = 0.03, .valve_r = 2}

static void free_lungs_follow(void **state) {
    (void)state;
    const struct lung free_ones[] = {
        FREE,
        {.re = 30, .valve_s = 0.03, .valve_r = 2},                /* slow */
        {.re = 5, .k2 = 12, .valve_s = 0.03, .valve_r = 2},       /* a tube */
        {.re = 12, .valve_s = 0.12, .valve_r = 8},                /* a slow, narrow valve */
        {.re = 5, .k2 = 20, .valve_s = 0.15, .valve_r = 12},
    };
    static const double rates[] = {50, 100, 250, 1000};
    for (size_t i = 0; i < sizeof free_ones / sizeof *free_ones; i++) {
        for (size_t k = 0; k < sizeof rates / sizeof *rates; k++) {
            struct outflow x = breathe(&free_ones[i], rates[k], 0);
            /* the slow valve still holds 1.2 of its 12 cmH2O after 3 s */
            assert_true(x.drive_cmh2o < E * START && x.drive_cmh2o > 0.9 * E * START);
            assert_true(x.yield < 0.003);
            double r = free_ones[i].re + free_ones[i].k2 * x.open_l_s;
            assert_true(fabs(outflow_meets(&x, 10, START) / r - 1) < 0.08);
        }
    }
    struct lung l = FREE;
    assert_true(breathe(&l, 100, 0.01).yield < 0.01); /* a lag that is known */
}

static void capped_lungs_do_not(void **state) {
    (void)state;
    /* V/1.5 s, a third of what E V / R would be at first */
    struct lung early = {.re = 12, .cap_s = 1.5, .valve_s = 0.03, .valve_r = 2};
    static const double rates[] = {50, 100, 250, 1000};
    for (size_t k = 0; k < sizeof rates / sizeof *rates; k++) {
        struct outflow x = breathe(&early, rates[k], 0);
        assert_true(x.yield > 0.1);
        /* E V over V/cap: E cap, less the valve's own */
        assert_true(fabs(outflow_meets(&x, 10, START) - (E * 1.5 - 2)) < 1.5);
    }
    struct lung at_once = {.re = 12, .cap_s = 1.5, .valve_s = 0.001, .valve_r = 2}; /* nothing is left to fall: resistance tells */
    struct outflow x = breathe(&at_once, 100, 0);
    assert_true(x.yield < 0.02 && fabs(outflow_meets(&x, 10, START) - 28) < 1.5);
}

static void what_is_not_read(void **state) {
    (void)state;
    struct lung l = FREE;
    struct outflow x = breathe(&l, 100, 0);
    struct ring r;
    assert_int_equal(ring_init(&r, 100, INT64_C(15000000), 10), TM_OK);
    for (int i = 0; i < 300; i++)
        ring_push(&r, i * INT64_C(10000000), PEEP + (i < 100 ? 1 : 0), i < 100 ? 0.3 : -0.3 * exp(-(i - 100) / 50.0));
    outflow_read(&r, 100, 299, 0, 0, 0.15, &x); /* 1 cmH2O: support of next to nothing */
    assert_true(isnan(x.yield) && fabs(x.drive_cmh2o - 1) < 1e-9);
    outflow_read(&r, 1, 299, 0, 0, 0.15, &x); /* what was before is gone */
    assert_true(isnan(x.drive_cmh2o) && isnan(x.yield));
    outflow_read(&r, 100, 104, 0, 0, 0.01, &x);
    assert_true(isnan(x.yield));
    ring_free(&r);
}

/* 25 breaths alike, the middle one judged; x: what is read of each. */
static struct pattern_verdict verdict(const struct expiration *x, const char *name, double value, bool *suspected) {
    struct pattern_settings s;
    const char *why;
    pattern_defaults(&s);
    if (name)
        assert_true(pattern_set(&s, name, strlen(name), value, &why));
    struct breath_row row;
    memset(&row, 0, sizeof row);
    row.complete = true;
    row.v[COL_leak_pct] = (double)NAN;
    struct pattern_window w = {.n = 25, .own = 12, .flow_scale = 1, .time_scale = 1, .rate_hz = 100};
    for (int i = 0; i < w.n; i++)
        w.at[i] = (struct pattern_breath){.row = &row, .exp = x};
    struct pattern_verdict v;
    memset(&v, 0, sizeof v);
    pattern_of(PATTERN_flow_limitation)->judge(&w, s.v[PATTERN_flow_limitation], &v);
    if (suspected)
        *suspected = flow_limitation_suspected(&w, s.v[PATTERN_flow_limitation]);
    return v;
}

static struct expiration of(struct outflow out, double ri) {
    return (struct expiration){.peak_ratio = 0.99, .drop = 0.1, .tau_s = 1.5, .q0_l_s = START / 1.5, .vte_l = START, .out = out,
                               .ri_cmh2o_s_l = ri, .r_end_cmh2o_s_l = (double)NAN, .re_cmh2o_s_l = (double)NAN};
}

static int told(const struct expiration *x, const char *name, double value) {
    struct pattern_verdict v = verdict(x, name, value, NULL);
    assert_int_equal(v.unjudged, WHY_NONE);
    return (int)v.confidence;
}

static void told_either_side(void **state) {
    (void)state;
    struct lung early = {.re = 12, .cap_s = 1.5, .valve_s = 0.03, .valve_r = 2};
    struct expiration x = of(breathe(&early, 100, 0), 20); /* 28 of 20: 1.4 */
    assert_int_equal(told(&x, NULL, 0), CONF_DEFINITE);
    assert_int_equal(told(&x, "flow_limitation.meets_least", 1.5), CONF_NONE);
    x.ri_cmh2o_s_l = (double)NAN; /* nothing to hold it against */
    assert_int_equal(told(&x, NULL, 0), CONF_POSSIBLE);
    x.out.yield = 0.05;
    assert_int_equal(told(&x, "flow_limitation.yield", 0.045), CONF_POSSIBLE);
    assert_int_equal(told(&x, "flow_limitation.yield", 0.055), CONF_NONE);
    x.out.yield = 0;
    x.ri_cmh2o_s_l = 10; /* 2.8 */
    assert_int_equal(told(&x, NULL, 0), CONF_POSSIBLE);
    assert_int_equal(told(&x, "flow_limitation.meets", 2.6), CONF_POSSIBLE);
    assert_int_equal(told(&x, "flow_limitation.meets", 3.0), CONF_NONE);
    x.peak_ratio = 0.9; /* free flow that waits for the valve */
    assert_int_equal(told(&x, NULL, 0), CONF_NONE);
}

static void told_alike(void **state) {
    (void)state;
    bool suspected;
    struct lung l = FREE;
    struct expiration x = of(breathe(&l, 100, 0), 10);
    assert_int_equal(verdict(&x, NULL, 0, &suspected).confidence, CONF_NONE);
    assert_false(suspected);
    x.out.yield = 0.02; /* too little to say so, enough to give no auto-PEEP by flow */
    assert_int_equal(verdict(&x, NULL, 0, &suspected).confidence, CONF_NONE);
    assert_true(suspected);
    /* secretions: a spike that the valve has nothing to do with */
    x.out.yield = 0;
    x.peak_ratio = 1.4;
    x.drop = 0.45;
    x.tau_s = 2;
    assert_int_equal(verdict(&x, NULL, 0, NULL).confidence, CONF_NONE);
    struct lung early = {.re = 12, .cap_s = 1.5, .valve_s = 0.03, .valve_r = 2};
    x = of(breathe(&early, 100, 0), 20);
    x.disturbed = true; /* limited flow looks like a pull against it; it never rises again */
    assert_int_equal(told(&x, NULL, 0), CONF_DEFINITE);
    x.out.rises = 0.2; /* an effort let go */
    assert_int_equal(verdict(&x, NULL, 0, NULL).unjudged, WHY_few_breaths);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(free_lungs_follow), cmocka_unit_test(capped_lungs_do_not), cmocka_unit_test(what_is_not_read),
        cmocka_unit_test(told_either_side),  cmocka_unit_test(told_alike),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
