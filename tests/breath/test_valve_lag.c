/* Flow's lag from the machine's fall: a step of pressure through a valve's time constant, and flow that follows it through a
 * resistance, by closed form, taken later by a lag that is known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <string.h>

#include "analyze/breath/valve_lag.h"

/* Pressure from 20 to 5 with a time constant of 25 ms from t = 1 s; 12 cmH2O in the lung, resistance 10. */
static double pressure(double t) {
    return 5 + 15 * (t < 1 ? 1 : exp(-(t - 1) / 0.025));
}

static double found_s(double rate, double lag_s, double resistance, int breaths) {
    struct ring r;
    struct noise z;
    struct valve_lag g = {.n = 0};
    memset(&z, 0, sizeof z);
    assert_int_equal(ring_init(&r, rate, (int64_t)(1.5e9 / rate), 30), TM_OK);
    for (int i = 0; i < (int)(2 * rate); i++) {
        double t = i / rate;
        ring_push(&r, (int64_t)(1e9 * t), pressure(t), (pressure(t - lag_s) - 12) / resistance);
    }
    struct seg_breath b = {.i1 = (uint64_t)rate, .fall = true, .has_t1 = true, .machine = true};
    for (int k = 0; k < breaths; k++) {
        valve_lag_offer(&g, &r, &z, &b, 1, r.end);
    }
    ring_free(&r);
    return g.lag_s;
}

static void lag_is_found(void **state) {
    (void)state;
    static const double rates[] = {100, 200, 500}, lags[] = {0.004, 0.010, 0.018};
    for (size_t i = 0; i < 3; i++) {
        for (size_t k = 0; k < 3; k++) { /* straight lines between samples cost up to an eighth of a step squared over tau */
            assert_true(fabs(found_s(rates[i], lags[k], 10, 5) - lags[k]) < 0.0015);
        }
    }
}

/* From five falls on; and none from flow that pressure hardly moves. */
static void else_none(void **state) {
    (void)state;
    assert_true(found_s(100, 0.010, 10, 4) <= 0);
    assert_true(found_s(100, 0.010, 200, 20) <= 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(lag_is_found), cmocka_unit_test(else_none)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
