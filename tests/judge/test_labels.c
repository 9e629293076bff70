/* Hand-made cases whose labels are known: each cause gives its pattern, and its absence does not. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/judge/bench.h"

static void breathing(struct judge_case *c, double period, double peak, double rise)
{
    c->drive = (struct drive_set){.period = period, .peak = peak, .rise = rise, .relax = 0.06};
}

static void passive_has_nothing(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    bench_run(&b);
    assert_true(bench_scored(&b) >= 28);
    assert_int_equal(b.t->efforts, 0);
    for (int p = 0; p < PAT_N; p++)
        assert_int_equal(bench_count(&b, (enum pattern)p, IS), 0);
    bench_end(&b);
}

/* A weak effort in mid-expiration of a lung that traps gas, which the machine does not feel. */
static void effort_in_vain(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.lung.r_i = b.c.lung.r_e = 25.0;
    b.c.vent.rate = 12.0;
    b.c.drive = (struct drive_set){.passive = true, .period = 5.0, .peak = 3.0, .rise = 0.4, .relax = 0.06,
                                   .entrain = 1, .entrain_delay = 3.2, .entrain_sd = 0.01};
    b.c.vent.trigger = 0.3;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_INEFFECTIVE, IS) > 18);
    assert_int_equal(bench_count(&b, PAT_REVERSE, IS), 0);
    for (size_t k = 0; k < b.t->rows; k++)
        assert_true(b.t->row[k].kind == KIND_MANDATORY);
    bench_end(&b);
    b.c.drive.peak = 10.0;
    b.c.vent.trigger = 0.02;
    bench_run(&b);
    assert_int_equal(bench_count(&b, PAT_INEFFECTIVE, IS), 0);
    bench_end(&b);
}

static void reverse_runs(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.drive = (struct drive_set){.passive = true, .period = 4.0, .peak = 6.0, .rise = 0.4, .relax = 0.06,
                                   .entrain = 2, .entrain_delay = 0.5, .entrain_sd = 0.03};
    b.c.vent.trigger = 5.0;
    bench_run(&b);
    size_t is = bench_count(&b, PAT_REVERSE, IS);
    assert_true(is >= 10 && is <= 15);
    assert_true(bench_count(&b, PAT_REVERSE, IS_NOT) >= 10);
    bench_end(&b);
    b.c.drive.entrain = 1;
    b.c.drive.entrain_sd = 0.6;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_REVERSE, IS) < 8);
    assert_true(bench_count(&b, PAT_REVERSE, BETWEEN) > 10);
    bench_end(&b);
}

static void heart_triggers(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.rate = 8.0;
    b.c.vent.trigger = 0.012;
    b.c.disturb.heart_p = 1.2;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_AUTO, IS) > 10);
    bench_end(&b);
    b.c.vent.trigger = 0.08;
    bench_run(&b);
    assert_int_equal(bench_count(&b, PAT_AUTO, IS), 0);
    bench_end(&b);
    breathing(&b.c, 3.0, 8.0, 0.4);
    bench_run(&b);
    assert_int_equal(bench_count(&b, PAT_AUTO, IS), 0);
    assert_true(bench_count(&b, PAT_AUTO, IS_NOT) > 30);
    bench_end(&b);
}

static void long_effort_doubles(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.ti = 0.5;
    b.c.vent.vt = 0.3;
    breathing(&b.c, 4.0, 14.0, 0.4);
    b.c.drive.hold = 0.8;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_DOUBLE, IS) > 20);
    bench_end(&b);
    b.c.drive.hold = 0.0;
    bench_run(&b);
    assert_int_equal(bench_count(&b, PAT_DOUBLE, IS), 0);
    bench_end(&b);
}

static void cycling_and_delay(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.mode = MODE_PC;
    b.c.vent.ti = 1.4;
    breathing(&b.c, 3.5, 7.0, 0.4);
    bench_run(&b);
    assert_true(bench_count(&b, PAT_LATE, IS) > 25);
    assert_int_equal(bench_count(&b, PAT_EARLY, IS), 0);
    assert_true(bench_count(&b, PAT_DELAY, IS_NOT) > 20);
    bench_end(&b);
    b.c.vent.ti = 0.5;
    b.c.drive.hold = 0.8;
    b.c.make.refractory = 1.0;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_EARLY, IS) > 25);
    assert_int_equal(bench_count(&b, PAT_LATE, IS), 0);
    bench_end(&b);
    b.c.vent.trigger = 0.25;
    b.c.drive.rise = 0.9;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_DELAY, IS) > 10);
    bench_end(&b);
}

static void starved_in_volume_control(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    breathing(&b.c, 3.5, 14.0, 0.5);
    b.c.drive.hold = 0.4;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_FLOW, IS) > 20);
    bench_end(&b);
}

static void pushes_and_limits(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.mode = MODE_PS;
    breathing(&b.c, 4.0, 7.0, 0.5);
    b.c.drive.push = 8.0;
    b.c.drive.push_delay = 0.3;
    b.c.drive.push_len = 0.6;
    b.c.drive.push_share = 1.0;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_EXPIRATORY, IS) > 20);
    bench_end(&b);
    case_plain(&b.c);
    b.c.vent.peep = 2.0;
    b.c.vent.rate = 20.0;
    b.c.lung.limit_tau = 2.5;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_LIMITATION, IS) > 25);
    assert_true(bench_count(&b, PAT_INCOMPLETE, IS) > 25);
    bench_end(&b);
}

static void overshoot_needs_haste(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.vent.mode = MODE_PC;
    b.c.lung.r_i = b.c.lung.r_e = 16.0;
    b.c.make.kick = 0.3;
    b.c.vent.rise_tau = 0.01;
    bench_run(&b);
    assert_true(bench_count(&b, PAT_OVERSHOOT, IS) > 25);
    bench_end(&b);
    b.c.make.kick = 0.0;
    b.c.vent.rise_tau = 0.08;
    bench_run(&b);
    assert_int_equal(bench_count(&b, PAT_OVERSHOOT, IS), 0);
    assert_true(bench_count(&b, PAT_OVERSHOOT, IS_NOT) > 25);
    bench_end(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(passive_has_nothing),       cmocka_unit_test(effort_in_vain),
        cmocka_unit_test(reverse_runs),              cmocka_unit_test(heart_triggers),
        cmocka_unit_test(long_effort_doubles),       cmocka_unit_test(cycling_and_delay),
        cmocka_unit_test(starved_in_volume_control), cmocka_unit_test(pushes_and_limits),
        cmocka_unit_test(overshoot_needs_haste),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
