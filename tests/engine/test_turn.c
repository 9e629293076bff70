/* Where inspiration starts and ends, and what that does to volumes: signals whose times and volumes are known in closed form. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "tests/engine/lung.h"

#define PI 3.14159265358979323846

static struct collected got;

static void run(wave_fn *signal, double seconds) {
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, seconds, signal, NULL), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
}

/* An upper level of 13 from 0 to 3 s, after an overshoot to 20: 180 mL and a draw of 102 in, 191 out while it is held, the
 * rest at the release. */
static void upper_level(const void *user, double t, double *p, double *q) {
    (void)user;
    double at = fmod(t, 6), left = 0.18 + 0.8 * 0.4 / PI - 0.6 / PI, gone = exp(-(at - 3) / 0.03);
    *p = at < 3 ? 5 + 8 * (1 - exp(-at / 0.02)) + 10 * (at / 0.2) * exp(1 - at / 0.1) : 5 + 8 * gone;
    *q = at < 3 ? 0.6 * exp(-at / 0.3) : -left / 0.4 * exp(-(at - 3) / 0.4) * (1 - gone);
    *q += at >= 0.5 && at < 0.9 ? 0.4 * sin(PI * (at - 0.5) / 0.4) : 0;
    *q -= at >= 0.9 && at < 1.5 ? 0.5 * sin(PI * (at - 0.9) / 0.6) : 0;
}

static void starts_at_the_release(void **state) {
    (void)state;
    int judged = 0;
    run(upper_level, 300);
    for (int i = 3; i + 1 < got.rows; i++, judged++) {
        assert_true(fabs(got.row[i].v[COL_ti_s] - 3) < 0.03);
        assert_true(fabs(got.row[i].v[COL_vti_ml] - 1000 * (0.18 + 0.32 / PI - 0.6 / PI)) < 6);
    }
    assert_in_range(judged, 40, 50);
}

/* Constant flow of 0.5 L/s for 0.8 s, stopped within 40 ms, a pause of 0.12 s, then release; E 25, R 10, PEEP 5. */
static void short_pause(const void *user, double t, double *p, double *q) {
    (void)user;
    double at = fmod(t, 4), v = 0.5 * fmin(at, 0.8), rest = exp(-(at - 0.92) / 0.02);
    if (at < 0.92) {
        *q = at < 0.8 ? 0.5 : fmax(0, 0.5 * (0.84 - at) / 0.04);
        *p = 5 + 25 * v + 10 * *q;
        return;
    }
    *q = -exp(-(at - 0.92) / 0.4) * (1 - rest);
    *p = 5 + 10 * rest;
}

static void starts_after_a_short_pause(void **state) {
    (void)state;
    int judged = 0;
    run(short_pause, 200);
    for (int i = 3; i + 1 < got.rows; i++, judged++) {
        assert_true(fabs(got.row[i].v[COL_ti_s] - 0.92) < 0.025);
    }
    assert_in_range(judged, 40, 50);
}

/* 60 mL drawn in the 0.3 s before the machine gives, and breathed out with the rest: nothing leaks (but 5 mL of sampling error), and a breath lasts
 * until the machine gives again. */
static void drawn_before(const void *user, double t, double *p, double *q) {
    (void)user;
    double at = fmod(t, 3);
    lung_at(&lungs[0], at, p, q);
    *q += at >= 2.7 ? 0.2 : 0;
    *p -= at >= 2.7 ? 0.6 : 0;
    *q -= at >= 1.2 && at < 2.4 ? 0.05 * sin(PI * (at - 1.2) / 1.2) * PI / 2 : 0;
}

static void draw_is_no_leak(void **state) {
    (void)state;
    int judged = 0;
    run(drawn_before, 240);
    for (int i = 20; i + 2 < got.rows; i++, judged++) {
        assert_true(fabs(got.row[i].v[COL_leak_pct]) < 1.5);
        assert_true(fabs(got.row[i].v[COL_ttot_s] - 3) < 0.02);
    }
    assert_in_range(judged, 50, 80);
}

/* Volume control that an effort outdraws: pressure under PEEP throughout, even flow of 0.6 L/s for 0.8 s, then a joint drop,
 * and 0.25 L/s drawn on until 1.1 s. */
static void outdrawn(const void *user, double t, double *p, double *q) {
    (void)user;
    double at = fmod(t + 0.1, 4) - 0.1, out = 0.48 + 0.075 + 0.02;
    if (at < 0) {
        *q = 4 * (at + 0.1);
        *p = 7 - 400 * (at + 0.1) * (at + 0.1) * 0.75;
    } else if (at < 0.8) {
        *q = 0.6 - 0.2 * exp(-at / 0.02);
        *p = 5.5 + 1.5 * at / 0.8 - 1.5 * exp(-at / 0.05);
    } else if (at < 1.1) {
        *q = 0.25 + 0.35 * exp(-(at - 0.8) / 0.01);
        *p = 5 + 2 * exp(-(at - 0.8) / 0.01);
    } else {
        *q = -out / 0.4 * exp(-(at - 1.1) / 0.4) * (1 - exp(-(at - 1.1) / 0.03));
        *p = 7 + 1.0 * exp(-(at - 1.1) / 0.4);
    }
}

static void ends_where_even_flow_drops(void **state) {
    (void)state;
    int judged = 0;
    run(outdrawn, 240);
    for (int i = 5; i + 1 < got.rows; i++, judged++) {
        double t1 = fmod((double)got.row[i].t1_ns * 1e-9, 4);
        assert_true(fabs(t1 - 0.8) < 0.03);
        assert_true(fabs(got.row[i].v[COL_vti_ml] - 480) < 25);
    }
    assert_in_range(judged, 45, 60);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(starts_at_the_release), cmocka_unit_test(starts_after_a_short_pause),
                                       cmocka_unit_test(draw_is_no_leak), cmocka_unit_test(ends_where_even_flow_drops)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
