/* The ring's integrals against closed forms, its holes and its bounds. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "analyze/breath/ring.h"

#define PI 3.14159265358979323846

/* Half-sine flow of 1 s, peak 0.8 L/s, samples on the zeros. The trapezoid gives the exact
 * integral 1.6/pi times x cot x, x = pi h/2; printed values from the closed form, to 1e-8 L. */
static void half_sine(void **state) {
    (void)state;
    static const struct {
        int rate;
        double litres;
    } table[] = {{25, 0.50862544}, {50, 0.50912826}, {100, 0.50925393}, {200, 0.50928535}};
    for (size_t k = 0; k < sizeof table / sizeof *table; k++) {
        int rate = table[k].rate;
        struct ring r;
        assert_int_equal(ring_init(&r, rate, 3 * NS_PER_S / rate / 2, 30), TM_OK);
        for (int i = 0; i <= rate; i++) {
            ring_push(&r, i * NS_PER_S / rate, 10, 0.8 * sin(PI * i / rate));
        }
        uint64_t last = (uint64_t)rate;
        assert_true(fabs(ring_vol_l(&r, 0, last) - table[k].litres) < 1e-8);
        double x = PI / (2.0 * rate);
        assert_true(fabs(ring_vol_l(&r, 0, last) - 1.6 / PI * x / tan(x)) < 1e-13);
        assert_true(fabs(ring_at(&r, last)->p_s - ring_at(&r, 0)->p_s - 10) <
                    1e-12); /* 10 cmH2O for 1 s */
        assert_true(fabs(ring_p_mean(&r, 0, last) - 10) < 1e-12);
        ring_free(&r);
    }
}

/* A hole adds no volume, and what it may hide is the larger flow beside it times its length. */
static void hole(void **state) {
    (void)state;
    struct ring r;
    assert_int_equal(ring_init(&r, 100, 15000000, 30), TM_OK);
    ring_push(&r, 0, 5, 0.2);
    ring_push(&r, 10000000, 5, 0.2);
    ring_push(&r, 50000000, 5, -0.6); /* 40 ms */
    ring_push(&r, 60000000, 5, -0.6);
    assert_true(fabs(ring_vol_l(&r, 1, 2)) < 1e-15);
    assert_true(fabs(ring_vol_l(&r, 0, 3) - (0.002 - 0.006)) < 1e-15);
    assert_true(fabs(ring_at(&r, 2)->hole_l - ring_at(&r, 1)->hole_l - 0.6 * 0.04) < 1e-15);
    assert_true(fabs(ring_at(&r, 3)->hole_l - ring_at(&r, 2)->hole_l) < 1e-15);
    ring_free(&r);
}

static void find(void **state) {
    (void)state;
    struct ring r;
    assert_int_equal(ring_init(&r, 50, 30000000, 30), TM_OK);
    for (int i = 0; i < 300; i++) {
        ring_push(&r, i * INT64_C(20000000), 0, 0);
    }
    for (int i = 0; i < 300; i++) {
        assert_int_equal(ring_find(&r, 0, 300, i * INT64_C(20000000)), i);
        assert_int_equal(ring_find(&r, 0, 300, i * INT64_C(20000000) + 19999999), i);
    }
    assert_int_equal(ring_find(&r, 100, 200, 0), 100);              /* all are later */
    assert_int_equal(ring_find(&r, 100, 200, 100 * NS_PER_S), 199); /* all are earlier */
    ring_free(&r);
}

/* Nothing before a break belongs to the run; where the ring comes round, differences stay right. */
static void breaks_and_rounds(void **state) {
    (void)state;
    struct ring r;
    assert_int_equal(ring_init(&r, 100, 15000000, 30), TM_OK);
    for (int i = 0; i < 20000; i++) {
        ring_push(&r, i * INT64_C(10000000), 5, 0.5);
    }
    assert_int_equal(r.end, 20000);
    uint64_t first = ring_first(&r);
    assert_true(first > 0 && r.end - first >= 3000); /* at least 30 s are kept */
    assert_true(fabs(ring_vol_l(&r, first, r.end - 1) - 0.005 * (double)(r.end - 1 - first)) <
                1e-9);
    assert_int_equal(ring_find(&r, first, r.end, 19000 * INT64_C(10000000)), 19000);
    assert_true(fabs(ring_q_mean(&r, first, r.end) - 0.5) < 1e-12);
    ring_break(&r);
    assert_int_equal(ring_first(&r), 20000);
    ring_push(&r, 900 * NS_PER_S, 5, 1.0);
    ring_push(&r, 900 * NS_PER_S + 10000000, 5, 1.0);
    assert_int_equal(ring_first(&r), 20000);
    assert_true(fabs(ring_vol_l(&r, 20000, 20001) - 0.01) < 1e-12);
    ring_free(&r);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(half_sine), cmocka_unit_test(hole),
                                       cmocka_unit_test(find), cmocka_unit_test(breaks_and_rounds)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
