/* The judge's mechanics against closed forms, the balance of gas, and determinism. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "fixtures/judge/lung.h"
#include "fixtures/judge/plant.h"
#include "tests/judge/bench.h"

/* A lung of one part left open to the room empties as V0 exp(-t/tau), tau = C (R + the opening's 0.8). */
static void empties_exponentially(void **state)
{
    (void)state;
    struct judge_case c;
    case_plain(&c);
    struct plant p;
    plant_rest(&p, &c.lung, 20.0);
    double v0 = p.v[0], tau = (c.lung.r_e + 0.8) / c.lung.e[0];
    struct plant_in in = {.r_times = 1.0, .open = PLANT_OPEN_MACHINE};
    for (int k = 1; k <= 2000; k++) {
        plant_ms(&p, &c.lung, &c.make, &in);
        if (k > 50)
            assert_near(p.v[0], v0 * exp(-k * 0.001 / tau), 0.005 * v0);
    }
}

/* Square flow into a linear lung: Paw = P0 + V/C + R q. */
static void square_flow_pressure(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    bench_run(&b);
    size_t seen = 0;
    for (size_t k = 2; k + 2 < b.t->rows; k++) {
        const struct truth_row *a = &b.t->row[k];
        double at = a->t1 - 0.01, q = trace_at(b.r, TR_LUNG, at);
        double v = trace_at(b.r, TR_VOLUME, at) - trace_at(b.r, TR_VOLUME, a->t0);
        double start = trace_at(b.r, TR_RELAXED, a->t0);
        assert_near(trace_at(b.r, TR_PAW, at), start + 20.0 * v + 10.0 * q, 0.02);
        /* 0.45 L in 1 s, less what 1.5 mL/cmH2O of tubing keeps while pressure rises by 20 V a second. */
        assert_near(q, 0.45 / (1.0 + 0.0015 * 20.0), 0.005);
        assert_near(a->total_peep, a->peep, 0.2);
        seen++;
    }
    assert_true(seen > 20);
    bench_end(&b);
}

static void gas_balances(void **state)
{
    (void)state;
    struct bench b;
    case_plain(&b.c);
    b.c.disturb.leak_k = 0.02;
    b.c.disturb.heart_p = 0.5;
    b.c.disturb.secretions = 0.5;
    bench_run(&b);
    double in = trace_integral(b.r, TR_FLOW, 0.0, 100.0), leak = trace_integral(b.r, TR_LEAK, 0.0, 100.0);
    double rise = trace_at(b.r, TR_VOLUME, 100.0) - trace_at(b.r, TR_VOLUME, 0.0);
    assert_near(in, leak + rise, 0.002);
    assert_true(leak > 1.0);
    for (size_t k = 2; k + 2 < b.t->rows; k++) {
        const struct truth_row *a = &b.t->row[k];
        double dv = 1000.0 * (trace_at(b.r, TR_VOLUME, a->t2) - trace_at(b.r, TR_VOLUME, a->t0));
        double lost = 0.01 * a->leak_pct * a->vti;
        assert_near(a->vti_t, a->vte_t + lost + dv, 1.0);
    }
    bench_end(&b);
}

static void curves_invert(void **state)
{
    (void)state;
    struct lung_set l = {.parts = 1, .curved = true, .u0 = -0.5, .vh = 1.4, .g = 20.0};
    double last = -1.0;
    for (double v = 0.0; v < 1.6; v += 0.05) {
        double p = lung_recoil(&l, 0, v);
        assert_true(p > last);
        assert_near(lung_volume_at(&l, 0, p), v, 1e-9);
        last = p;
    }
}

/* A ceiling on expired flow does not care for pressure at the mouth. */
static void limit_ignores_pressure(void **state)
{
    (void)state;
    struct lung_set l = {.parts = 1, .e = {15.0, 15.0}, .r_i = 6.0, .r_e = 6.0, .limit_tau = 1.5, .branch_r = {1.0, 1.0}};
    double v[2] = {1.2, 0.0};
    struct lung_flow a = lung_flow(&l, v, 0.0, 0.0, 0.0, 1.0), b = lung_flow(&l, v, 0.0, 5.0, 0.0, 1.0);
    struct lung_flow push = lung_flow(&l, v, 0.0, 0.0, 10.0, 1.0);
    assert_true(a.limited && b.limited && push.limited);
    assert_near(a.q, b.q, 1e-12);
    assert_near(a.q, push.q, 1e-12);
    assert_false(lung_flow(&l, v, 0.0, 16.0, 0.0, 1.0).limited);
}

static void a_number_fixes_everything(void **state)
{
    (void)state;
    for (int n = 8; n < 240; n += 77) {
        struct bench a, b;
        case_patient(&a.c, n);
        case_patient(&b.c, n);
        a.c.seconds = b.c.seconds = 60.0;
        bench_run(&a);
        bench_run(&b);
        assert_int_equal(a.r->n, b.r->n);
        for (int i = 0; i < TR_N; i++)
            assert_memory_equal(a.r->tr[i], b.r->tr[i], a.r->n * sizeof(float));
        assert_int_equal(a.t->rows, b.t->rows);
        bench_end(&a);
        bench_end(&b);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(empties_exponentially), cmocka_unit_test(square_flow_pressure),
        cmocka_unit_test(gas_balances),          cmocka_unit_test(curves_invert),
        cmocka_unit_test(limit_ignores_pressure), cmocka_unit_test(a_number_fixes_everything),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
