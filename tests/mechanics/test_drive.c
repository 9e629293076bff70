/* P0.1 of efforts whose course is known in closed form, and what forbids it. The true value is the fall of the formula itself. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "analyze/mechanics/drive.h"

#define PEEP  5.0
#define PI    3.14159265358979323846
#define START 1.0 /* s */

enum course { RAMP, SINE, SLOW, HALF_SINE, HEART };

struct pull {
    enum course course;
    double size, over_s;
};

static double fallen(const struct pull *c, double t) {
    if (t <= 0) {
        return 0;
    }
    switch (c->course) {
    case RAMP:
        return c->size * t / c->over_s;
    case SINE: /* its peak after over_s */
        return c->size * sin(0.5 * PI * t / c->over_s);
    case SLOW:
        return c->size * pow(t / c->over_s, 1.5);
    case HALF_SINE:
        return t < c->over_s ? c->size * sin(PI * t / c->over_s) : 0;
    case HEART:
        return 0.5 * c->size * (1 - cos(2 * PI * t / c->over_s));
    }
    return 0;
}

static struct ring ring;

static void fill(const struct pull *c, double rate, double until_s, double q, double slope) {
    ring_free(&ring);
    assert_int_equal(ring_init(&ring, rate, NS_PER_S, 30), TM_OK);
    for (int i = 0; (double)i / rate < until_s; i++) {
        double t = (double)i / rate;
        ring_push(&ring, (int64_t)(t * 1e9), PEEP + slope * t - fallen(c, t - START), t > START ? q : 0);
    }
}

/* The machine answers at fall `at`. */
static struct trigger_phase_in trigger(double rate, double time_s) {
    struct trigger_phase_in in = {.ring = &ring, .floor = (uint64_t)(0.5 * rate), .i0 = (uint64_t)((START + time_s) * rate + 0.5),
                                  .start_ns = (int64_t)(START * 1e9), .p_sd_cmh2o = 0.02, .flow_scale = 1};
    return in;
}

static void phase_is(const struct pull *c, double time_s, double want, double within) {
    struct drive_p01 p;
    fill(c, 200, START + time_s + 0.02, 0.005, 0);
    struct trigger_phase_in in = trigger(200, time_s);
    drive_trigger(&in, &p);
    assert_int_equal(p.why, WHY_NONE);
    if (!(fabs(p.p01_cmh2o - want) <= within)) {
        fail_msg("%g for %g", p.p01_cmh2o, want);
    }
}

static void trigger_phases(void **state) {
    (void)state;
    /* 10 cmH2O in 0.9 s: 1.111 in 0.1 s. Exact. */
    phase_is(&(struct pull){RAMP, 10, 0.9}, 0.12, 10 / 9.0, 1e-6);
    /* 10 sin(pi t / 1.8): 1.736 at 0.1 s, and by fall over time at a fall of 1.3 (0.075 s) 1.74. */
    phase_is(&(struct pull){SINE, 10, 0.9}, 0.075, 1.736, 0.01);
    /* 10 (t / 0.9)^1.5: 0.370 at 0.1 s; a fall of 1 takes 0.1939 s: 0.516. The bias that the column states. */
    struct pull slow = {SLOW, 10, 0.9};
    assert_true(fabs(fallen(&slow, 0.1) - 0.370) < 0.001);
    phase_is(&slow, 0.195, 0.52, 0.01);
}

static enum reason phase_why(const struct pull *c, double rate, double time_s, double q, double slope) {
    struct drive_p01 p;
    fill(c, rate, START + time_s + 0.05, q, slope);
    struct trigger_phase_in in = trigger(rate, time_s);
    drive_trigger(&in, &p);
    assert_true(isnan(p.p01_cmh2o) == (p.why != WHY_NONE));
    return p.why;
}

static void trigger_phases_refused(void **state) {
    (void)state;
    const struct pull ramp = {RAMP, 10, 0.9};
    assert_int_equal(phase_why(&ramp, 100, 0.12, 0.005, 0), WHY_NONE);
    assert_int_equal(phase_why(&ramp, 100, 0.12, 0.031, 0), WHY_no_hold);   /* gas moves: 0.03 L/s */
    assert_int_equal(phase_why(&ramp, 100, 0.12, 0.028, 0), WHY_NONE);
    assert_int_equal(phase_why(&ramp, 100, 0.04, 0.005, 0), WHY_no_hold);   /* 0.44 cmH2O: a flow trigger shows no more */
    assert_int_equal(phase_why(&ramp, 40, 0.125, 0.005, 0), WHY_rate_low);
    assert_int_equal(phase_why(&ramp, 50, 0.12, 0.005, 0), WHY_NONE);
    assert_int_equal(phase_why(&(struct pull){RAMP, 40, 0.9}, 100, 0.02, 0.005, 0), WHY_breath_short); /* 2 samples */
    assert_int_equal(phase_why(&(struct pull){RAMP, 230, 1}, 100, 0.1, 0.005, 0), WHY_out_of_range);   /* 23 in 0.1 s */
    assert_int_equal(phase_why(&ramp, 100, 0.52, 0.005, 0), WHY_no_hold);   /* longer than a start */
    assert_int_equal(phase_why(&ramp, 100, 0.12, 0.005, -4), WHY_unsteady); /* pressure still falls, 4 cmH2O/s */
    struct drive_p01 p;
    fill(&ramp, 100, START + 0.15, 0.005, 0);
    struct trigger_phase_in in = trigger(100, 0.12);
    in.floor = 90; /* the inflation before ends 0.1 s before it */
    drive_trigger(&in, &p);
    assert_int_equal(p.why, WHY_breath_short);
    in = trigger(100, 0.12);
    in.p_sd_cmh2o = 0.4; /* a fall of 1.33 is within four of it */
    drive_trigger(&in, &p);
    assert_int_equal(p.why, WHY_no_hold);
}

static struct drive_p01 held(const struct pull *c, double rate, double until_s, double slope) {
    struct drive_p01 p;
    fill(c, rate, until_s, 0, slope);
    drive_occluded(&ring, (uint64_t)(0.2 * rate), ring.end, 0.02, &p);
    return p;
}

/* Pm sin(pi t / Tn), from the crossing of 0.5 on: Pm sin(pi (tc + 0.1) / Tn) - 0.5 with tc = Tn / pi asin(0.5 / Pm). */
static void holds(void **state) {
    (void)state;
    static const struct pull half[] = {{HALF_SINE, 10, 1.0}, {HALF_SINE, 15, 0.8}};
    for (size_t i = 0; i < 2; i++) {
        const struct pull *c = &half[i];
        double tc = c->over_s / PI * asin(0.5 / c->size), want = c->size * sin(PI * (tc + 0.1) / c->over_s) - 0.5;
        struct drive_p01 p = held(c, 200, 2.5, 0);
        assert_int_equal(p.why, WHY_NONE);
        assert_true(fabs(p.p01_cmh2o - want) < 0.01);
        p = held(c, 25, 2.5, 0); /* by straight lines over 40 ms */
        assert_int_equal(p.why, WHY_NONE);
        assert_true(fabs(p.p01_cmh2o - want) < 0.1 * want);
    }
    struct drive_p01 ramp = held(&(struct pull){RAMP, 20, 1}, 100, 2, 0);
    assert_int_equal(ramp.why, WHY_NONE);
    assert_true(fabs(ramp.p01_cmh2o - 2) < 1e-6);
}

static void holds_refused(void **state) {
    (void)state;
    const struct pull half = {HALF_SINE, 10, 1.0};
    assert_int_equal(held(&(struct pull){HEART, 1.0, 0.8}, 100, 4, 0).why, WHY_no_effort); /* beats on shut valves */
    assert_int_equal(held(&(struct pull){RAMP, 0, 1}, 100, 4, 0).why, WHY_no_effort);
    assert_int_equal(held(&half, 20, 2.5, 0).why, WHY_rate_low); /* 50 ms */
    assert_int_equal(held(&(struct pull){RAMP, 20, 1}, 100, START + 0.11, 0).why, WHY_breath_short); /* opened before 0.1 s were over */
    assert_int_equal(held(&(struct pull){HALF_SINE, 100, 1}, 100, 2.5, 0).why, WHY_out_of_range);
    assert_int_equal(held(&half, 100, 2.5, 4).why, WHY_unsteady); /* it still rises by 4 cmH2O/s */
}

static void lowest(void **state) {
    (void)state;
    fill(&(struct pull){RAMP, 10, 1}, 100, START + 0.2, 0, 0);
    assert_true(fabs(drive_lowest_cmh2o(&ring, 90, 110) - (PEEP - 0.95)) < 1e-9); /* mean of the last two samples: 1.0 and 0.9 */
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(trigger_phases), cmocka_unit_test(trigger_phases_refused),
                                       cmocka_unit_test(holds), cmocka_unit_test(holds_refused), cmocka_unit_test(lowest)};
    int rc = cmocka_run_group_tests(tests, NULL, NULL);
    ring_free(&ring);
    return rc;
}
