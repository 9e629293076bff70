/* Which breaths there are, holds' values, and events, in hand-made cases. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "tests/judge/bench.h"

static const struct truth_event *event(const struct bench *b, const char *name)
{
    for (size_t k = 0; k < b->t->events; k++)
        if (!strcmp(b->t->event[k].event, name))
            return &b->t->event[k];
    fail_msg("no %s", name);
    return b->t->event;
}

static double value(const struct truth_event *v, const char *name)
{
    const char *at = strstr(v->values, name);
    assert_non_null(at);
    return strtod(at + strlen(name) + 1, NULL);
}

/* A linear lung without leak: the plateau is recoil itself, the total PEEP of a hold likewise. */
static void holds_read_recoil(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.lung.r_i = b.c.lung.r_e = 22.0;
    b.c.vent.rate = 22.0;
    case_act(&b.c, 40.0, ACT_INSP_HOLD, 3.0, 0.0);
    case_act(&b.c, 70.0, ACT_EXP_HOLD, 3.0, 0.0);
    bench_run(&b);
    const struct truth_event *in = event(&b, "insp_hold"), *out = event(&b, "exp_hold");
    assert_near(value(in, "hold_s"), 3.0, 0.01);
    assert_near(value(in, "pplat_cmh2o"), trace_at(b.r, TR_RELAXED, in->from + 1.9), 0.02);
    /* C 50 mL/cmH2O */
    assert_near(value(in, "cstat_ml_cmh2o"), 50.0, 0.5);
    double total = value(out, "total_peep_cmh2o");
    assert_near(total, trace_at(b.r, TR_RELAXED, out->from + 1.9), 0.02);
    assert_true(value(out, "autopeep_cmh2o") > 1.0);
    for (size_t k = 0; k < b.t->rows; k++) {
        const struct truth_row *a = &b.t->row[k];
        if (a->t0 < in->from && a->t2 > in->from)
            assert_int_equal(a->why, WHY_EVENT);
        /* The breath before the expiratory hold: gas shared with the tubing lowers the reading by C_c/(C + C_c) = 3 %. */
        if (k + 1 < b.t->rows && b.t->row[k + 1].t0 > out->from && a->t0 < out->from)
            assert_near(total - b.c.vent.peep, a->total_peep - b.c.vent.peep, 0.6);
    }
    bench_end(&b);
}

static void own_breaths(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.mode = MODE_CPAP;
    b.c.drive = (struct drive_set){.period = 3.0, .peak = 9.0, .rise = 0.7, .relax = 0.1};
    bench_run(&b);
    assert_true(bench_scored(&b) > 35);
    size_t whole = 0;
    for (size_t k = 0; k < b.t->rows; k++)
        if (b.t->row[k].why == WHY_NONE) {
            assert_int_equal(b.t->row[k].kind, KIND_UNASSISTED);
            assert_true(b.t->row[k].vti > 150.0 && b.t->row[k].vti < 800.0);
        }
    for (size_t k = 0; k < b.t->efforts; k++)
        whole += b.t->effort[k].answered;
    assert_true(whole + 1 >= b.t->efforts);
    bench_end(&b);
}

static void two_levels(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.mode = MODE_BILEVEL;
    b.c.vent.t_high = 4.0;
    b.c.vent.t_low = 4.0;
    b.c.drive = (struct drive_set){.period = 2.1, .period_cv = 0.1, .peak = 8.0, .rise = 0.5, .relax = 0.1};
    bench_run(&b);
    size_t up = 0, own = 0, upper = 0;
    for (size_t k = 0; k < b.t->rows; k++) {
        const struct truth_row *a = &b.t->row[k];
        assert_true(a->t0 <= a->t1 && a->t1 <= a->t2);
        up += a->high_phase;
        own += a->machine < 0;
        upper += a->machine < 0 && trace_at(b.r, TR_PAW, a->t0) > 14.0;
    }
    assert_true(up >= 16 && own > 20 && upper > 5);
    bench_end(&b);
}

static void a_targeted_mode_finds_its_volume(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.mode = MODE_VTPC;
    b.c.vent.dp = 6.0;
    b.c.warmup = 40.0;
    case_act(&b.c, 60.0, ACT_LUNG_E, 1.4, 0.0);
    bench_run(&b);
    assert_near(b.t->row[b.t->rows - 3].vti, 450.0, 20.0);
    assert_true(b.r->settings.dp > 9.0);
    assert_int_equal(b.r->changes, 2);
    bench_end(&b);
}

static void mishaps_are_events(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.seconds = 300.0;
    case_act(&b.c, 40.0, ACT_SUCTION, 8.0, 0.0);
    case_act(&b.c, 80.0, ACT_DISCONNECT, 8.0, 0.0);
    case_act(&b.c, 120.0, ACT_DISCONNECT, 8.0, 1.0);
    case_act(&b.c, 160.0, ACT_INFLATE, 20.0, 30.0);
    case_act(&b.c, 220.0, ACT_SET_PEEP, 9.0, 0.0);
    bench_run(&b);
    assert_true(value(event(&b, "suction"), "lowest_cmh2o") < 3.0);
    assert_near(trace_mean(b.r, TR_PAW, 82.0, 86.0), 0.0, 0.3);
    assert_near(value(event(&b, "sustained_inflation"), "level_cmh2o"), 30.0, 1.0);
    assert_near(value(event(&b, "peep_step"), "to_cmh2o"), 9.0, 0.001);
    for (size_t k = 0; k < b.t->rows; k++)
        if (b.t->row[k].t0 > 81.0 && b.t->row[k].t0 < 87.0)
            assert_true(b.t->row[k].why != WHY_NONE);
    bench_end(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(holds_read_recoil),  cmocka_unit_test(own_breaths),
        cmocka_unit_test(two_levels),         cmocka_unit_test(a_targeted_mode_finds_its_volume),
        cmocka_unit_test(mishaps_are_events),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
