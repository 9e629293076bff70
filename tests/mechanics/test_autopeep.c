/* Auto-PEEP of a passive lung in its steady state, by each way, and what forbids each. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "analyze/mechanics/autopeep.h"

/* Volume control, VT 0.5 L, E 20, Re 28, expiration of 1.5 s: 260.5 mL stay, 5.21 cmH2O, flow out 0.186 L/s at its end
 * (equation of motion, steady state: V = VT / (exp(Te/tau) - 1)). */
#define VT  0.5
#define E   20.0
#define RE  28.0
#define TE  1.5
#define TAU (RE / E)

static double stays_l(void) {
    return VT / (exp(TE / TAU) - 1);
}

/* Flow as the 50 ms before the end show it, nothing lagging. */
static struct autopeep_in lung(void) {
    double before = stays_l() / TAU * TAU / 0.05 * (exp(0.05 / TAU) - 1);
    struct autopeep_fit fit = {.there = true, .re_cmh2o_s_l = RE, .e_cmh2o_l = E, .p0_cmh2o = 5 + E * stays_l(), .tau_s = TAU};
    return (struct autopeep_in){.peep_cmh2o = 5, .q_l_s = before, .q_least_l_s = 0.02, .own = fit, .next = fit,
                                .next_follows = true};
}

static struct autopeep_out told(struct autopeep_in in) {
    struct autopeep_out o;
    autopeep_of(&in, &o);
    return o;
}

static void both_ways(void **state) {
    (void)state;
    assert_true(fabs(stays_l() - 0.2605) < 0.0001);
    struct autopeep_out o = told(lung());
    assert_int_equal(o.basis, AUTOPEEP_FLOW);
    assert_true(fabs(o.auto_cmh2o - 5.21) < 0.01);
    assert_true(fabs(o.total_cmh2o - 10.21) < 0.01);
    assert_true(fabs(o.flow_cmh2o - 5.21) < 0.01);
    assert_true(fabs(o.fit_cmh2o - 5.21) < 0.01);
    assert_true(fabs(o.trapped_ml - 260.5) < 0.5);
    assert_true(fabs(o.tau_s - 1.4) < 1e-12);
}

/* A tube: resistance grows with flow, K2 10 at 0.19 L/s. */
static void a_tube(void **state) {
    (void)state;
    struct autopeep_in in = lung();
    in.own.k2 = 10;
    double q = stays_l() / TAU;
    assert_true(fabs(told(in).flow_cmh2o - (RE + 10 * q) * q) < 0.01);
}

static void a_hold_leads(void **state) {
    (void)state;
    struct autopeep_in in = lung();
    in.held = true;
    in.hold_total_cmh2o = 12;
    in.hold_peep_cmh2o = 5.5;
    struct autopeep_out o = told(in);
    assert_int_equal(o.basis, AUTOPEEP_HOLD);
    assert_true(o.auto_cmh2o == 6.5 && o.total_cmh2o == 12);
    assert_true(fabs(o.flow_cmh2o - 5.21) < 0.01); /* kept beside it */
    in.effort = true; /* muscles at work: only the hold was flat */
    o = told(in);
    assert_int_equal(o.basis, AUTOPEEP_HOLD);
    assert_true(isnan(o.flow_cmh2o));
    in.hold_why = WHY_hold_short;
    o = told(in);
    assert_true(isnan(o.auto_cmh2o));
    assert_int_equal(o.why, WHY_hold_short);
}

/* Empty with its reason, in all cells that hang on it. */
static void nothing(struct autopeep_in in, enum reason flow, enum reason fit) {
    struct autopeep_out o = told(in);
    assert_true(isnan(o.flow_cmh2o));
    assert_int_equal(o.why_flow, flow);
    assert_int_equal(o.why_fit, fit);
    if (fit != WHY_NONE) {
        assert_true(isnan(o.fit_cmh2o) && isnan(o.auto_cmh2o) && isnan(o.total_cmh2o));
        assert_int_equal(o.basis, AUTOPEEP_NONE);
        assert_int_equal(o.why, flow);
    } else {
        assert_int_equal(o.basis, AUTOPEEP_FIT);
    }
}

static void refused(void **state) {
    (void)state;
    struct autopeep_in in = lung();
    in.why = WHY_leak_high;
    nothing(in, WHY_leak_high, WHY_leak_high);
    in = lung();
    in.effort = true;
    nothing(in, WHY_effort_suspected, WHY_effort_suspected);
    in = lung();
    in.dead_band = true;
    nothing(in, WHY_below_resolution, WHY_NONE);
    in = lung();
    in.own.there = false;
    in.own.why = WHY_fit_poor;
    nothing(in, WHY_fit_poor, WHY_NONE);
    assert_int_equal(told(in).why_trapped, WHY_fit_poor);
    in.next_follows = false;
    nothing(in, WHY_fit_poor, WHY_effort_suspected);
    in = lung();
    in.q_l_s = -0.05; /* gas goes in at the end of expiration */
    nothing(in, WHY_leak_high, WHY_NONE);
    in = lung();
    in.own.there = false;
    in.own.why = WHY_fit_poor;
    in.next.p0_cmh2o = 3; /* under PEEP: no passive lung's */
    nothing(in, WHY_fit_poor, WHY_fit_poor);
}

static void emptied(void **state) {
    (void)state;
    struct autopeep_in in = lung();
    in.q_l_s = -0.001; /* measured, and none */
    struct autopeep_out o = told(in);
    assert_int_equal(o.basis, AUTOPEEP_FLOW);
    assert_true(o.auto_cmh2o == 0 && o.trapped_ml == 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(both_ways), cmocka_unit_test(a_tube),
                                       cmocka_unit_test(a_hold_leads), cmocka_unit_test(refused),
                                       cmocka_unit_test(emptied)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
