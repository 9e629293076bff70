/* Work and power of the machine from samples, against closed forms of one compartment that starts from rest. Constant flow:
 * rate (PEEP VT + R VT^2/Ti + E VT^2/2); flow falling in a straight line, and pressure with a ramp: the integral of
 * p dV, solved by ordinary differential equation too (SciPy). Square pressure: p VT. The formulas of the literature without
 * their rounding of 0.0980665: Gattinoni, Intensive Care Med 2016, doi 10.1007/s00134-016-4505-2 (volume control);
 * Becher, Intensive Care Med 2019, doi 10.1007/s00134-019-05636-8 (pressure control, square and with a ramp). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/mechanics/work.h"

#define T0 1.0

struct shape {
    const char *name;
    double rate_per_min, r, e, peep, ti;
    double vt, end_share;  /* volume control: L, last flow as a share of the first */
    double dp, rise_s;     /* pressure control */
    double volume_l, power_j_min; /* the printed values */
};

static const struct shape worked[] = {
    {"M1", 20, 10, 20, 5, 1.0, 0.50, 1, 0, 0, 0.50, 14.709975},
    {"M2", 20, 10, 25, 10, 0.8, 0.42, 1, 0, 0, 0.42, 16.887051},
    {"M3", 30, 12, 40, 12, 0.6667, 0.36, 1, 0, 0, 0.36, 27.197812},
    {"M4", 15, 12, 20, 8, 1.0, 0.45, 1, 0, 0, 0.45, 11.848885},
    {"flow falling to half", 20, 10, 20, 5, 1.0, 0.50, 0.5, 0, 0, 0.50, 20 * 0.74457898},
    {"flow falling to nothing", 20, 10, 20, 5, 1.0, 0.50, 0, 0, 0, 0.50, 20 * 0.81722083},
    {"square pressure", 20, 10, 25, 5, 0.9, 0, 1, 12, 0, 0.42940837, 14.317596},
    {"Q1", 20, 10, 20, 5, 1.0, 0, 1, 15, 0.10, 0.63763648, 24.312164},
    {"Q2", 20, 10, 20, 10, 1.0, 0, 1, 15, 0.20, 0.62519768, 29.320550},
    {"Q3", 30, 12, 1000.0 / 30, 12, 0.7, 0, 1, 18, 0.15, 0.44415988, 37.406388},
    {"Q4", 15, 10, 25, 8, 1.2, 0, 1, 12, 0.20, 0.44899399, 12.583422},
};

/* Pressure and flow at t since the onset. */
static void breath_at(const struct shape *s, double t, double *p, double *q) {
    double tau = s->r / s->e;
    *p = s->peep;
    *q = 0;
    if (t < 0 || t >= s->ti) {
        return;
    }
    if (s->dp > 0 && t < s->rise_s) {
        *p = s->peep + s->dp * t / s->rise_s;
        *q = s->dp / s->rise_s / s->e * (1 - exp(-t / tau));
    } else if (s->dp > 0) {
        double at = s->rise_s > 0 ? s->dp / s->rise_s / s->e * (1 - exp(-s->rise_s / tau)) : s->dp / s->r;
        *p = s->peep + s->dp;
        *q = at * exp(-(t - s->rise_s) / tau);
    } else {
        double first = s->vt / s->ti / (0.5 + 0.5 * s->end_share), fall = first * (1 - s->end_share) / s->ti;
        *q = first - fall * t;
        *p = s->peep + s->r * *q + s->e * (first * t - 0.5 * fall * t * t);
    }
}

static struct work read_off(const struct shape *s, double rate_hz, double lag_s, double told_s) {
    struct ring r;
    assert_int_equal(ring_init(&r, rate_hz, (int64_t)(1.5e9 / rate_hz), 30), TM_OK);
    for (int i = 0; i < (int)(3 * rate_hz); i++) {
        double t = (i + 0.5) / rate_hz - T0, p, q, late, unused; /* the onset falls between two samples */
        breath_at(s, t, &p, &unused);
        breath_at(s, t - lag_s, &late, &q);
        ring_push(&r, (int64_t)(1e9 * (t + T0)), p, q);
    }
    struct seg_breath b = {.has_t1 = true, .t0_ns = (int64_t)(1e9 * T0), .t1_ns = (int64_t)(1e9 * (T0 + s->ti))};
    b.i0 = ring_find(&r, 0, r.end, b.t0_ns);
    b.i1 = ring_find(&r, 0, r.end, b.t1_ns);
    b.i2 = r.end - 1;
    struct work w;
    work_read(&r, &b, told_s, &w);
    assert_true(w.there && isnan(w.peep_cmh2o));
    w.peep_cmh2o = s->peep;
    ring_free(&r);
    return w;
}

static void geometric(void **state) {
    (void)state;
    static const double rates[] = {100, 200, 500};
    for (size_t i = 0; i < sizeof worked / sizeof worked[0]; i++) {
        for (size_t k = 0; k < 3; k++) {
            const struct shape *s = &worked[i];
            struct work w = read_off(s, rates[k], 0, 0);
            double power = work_power(&w, s->rate_per_min), within = 0.002 + 0.5 / rates[k] / s->ti; /* half a step of it */
            if (fabs(power / s->power_j_min - 1) > within || fabs(w.volume_l / s->volume_l - 1) > within) {
                fail_msg("%s at %g Hz: %g J/min for %g, %g L", s->name, rates[k], power, s->power_j_min, w.volume_l);
            }
        }
    }
}

/* M1 is a third each of PEEP, recoil and resistance: above PEEP 2 x 4.903325 J/min over 10 L/min, 0.98 J/L. */
static void per_litre(void **state) {
    (void)state;
    struct work w = read_off(&worked[0], 200, 0, 0);
    assert_true(fabs(work_per_litre(&w) - 0.980665) < 0.004);
    w.peep_cmh2o = (double)NAN;
    assert_true(isnan(work_per_litre(&w)));
}

/* Flow that comes 20 ms late costs 0.7 % where that isn't known (its last gas meets pressure that has fallen). */
static void lag(void **state) {
    (void)state;
    struct work known = read_off(&worked[0], 200, 0.02, 0.02), unknown = read_off(&worked[0], 200, 0.02, 0);
    assert_true(fabs(work_power(&known, 20) / 14.709975 - 1) < 0.002);
    assert_true(work_power(&unknown, 20) / 14.709975 < 0.996);
}

/* Cut before it turned; nothing went in; samples no longer there: no work. */
static void none(void **state) {
    (void)state;
    struct ring r;
    assert_int_equal(ring_init(&r, 100, NS_PER_S / 50, 4), TM_OK);
    for (int i = 0; i < 300; i++) {
        ring_push(&r, i * (NS_PER_S / 100), 5, -0.2);
    }
    struct work w;
    struct seg_breath b = {.i0 = 10, .i1 = 90, .i2 = 290, .t1_ns = 90 * (NS_PER_S / 100), .has_t1 = false};
    work_read(&r, &b, 0, &w);
    assert_false(w.there);
    b.has_t1 = true;
    work_read(&r, &b, 0, &w);
    assert_false(w.there);
    ring_break(&r);
    work_read(&r, &b, 0, &w);
    assert_false(w.there);
    ring_free(&r);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(geometric), cmocka_unit_test(per_litre), cmocka_unit_test(lag),
                                       cmocka_unit_test(none)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
