/* A patient alone, a leak, a hold, and flow of unknown scale. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "tests/engine/lung.h"

#define PI 3.14159265358979323846

static struct collected got, first;

struct scaled {
    double gain, offset;
    const struct lung *l;
    double hold_from, hold_to; /* flow is only a ripple of 1 Hz; 0: none */
};

/* Half-sine of 0.5 L/s for 1 s in, the same volume out by a half-sine of 2 s, rest of 1 s: drawn,
 * so pressure falls. */
static void alone(const void *user, double t, double *p, double *q) {
    (void)user;
    double at = fmod(t, 4);
    *q = at < 1 ? 0.5 * sin(PI * at) : (at < 3 ? -0.25 * sin(PI * (at - 1) / 2) : 0);
    *p = 5 - 2 * *q;
}

static void half_sine_alone(void **state) {
    (void)state;
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 160, alone, NULL), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    assert_in_range(got.rows, 39, 40);
    for (int i = 2; i + 1 < got.rows; i++) {
        const struct breath_row *r = &got.row[i];
        assert_true(fabs(r->v[COL_vti_ml] - 1000 / PI) < 0.005 * 1000 / PI); /* 2 x 0.5/pi L */
        double t0 = fmod((double)r->t0_ns * 1e-9 + 2, 4) - 2; /* the half-sine leaves zero slowly */
        assert_true(fabs(t0) < 0.05);
        assert_true(fabs(fmod((double)r->t1_ns * 1e-9, 4) - 1) < 0.05);
        assert_int_equal(r->control, CONTROL_NONE);
        assert_int_equal(r->initiation, INIT_PATIENT);
    }
}

/* V1 with an orifice leak of 0.01 L/s per sqrt(cmH2O): the breaths stay, and what leaks is in VTi
 * and not in VTe. */
static void leaky(const void *user, double t, double *p, double *q) {
    (void)user;
    lung_at(&lungs[0], fmod(t, 3), p, q);
    *q += 0.01 * sqrt(*p);
}

static void leak(void **state) {
    (void)state;
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 150, leaky, NULL), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    assert_in_range(got.rows, 49, 50);
    for (int i = 5; i + 1 < got.rows; i++) {
        double lost = got.row[i].v[COL_vti_ml] - got.row[i].v[COL_vte_ml];
        double want = 0; /* mL in 3 s, by midpoints of 1 ms */
        for (int k = 0; k < 3000; k++) {
            double p, q;
            lung_at(&lungs[0], (k + 0.5) / 1000, &p, &q);
            want += 0.01 * sqrt(p);
        }
        assert_true(fabs(lost - want) < 12); /* edges: 5 mL each at 100 Hz */
        assert_true(fabs(fmod((double)got.row[i].t0_ns * 1e-9 + 1.5, 3) - 1.5) < 0.0101);
    }
}

/* A leak of 0.25 L/s closes under breaths of 0.2 L/s: less the leak that was learnt, no flow is inward any more, and no breath
 * would ever show to correct it. All but the first 20 s after it have to be found. */
static void leak_closes(const void *user, double t, double *p, double *q) {
    (void)user;
    double at = fmod(t, 3);
    *q = at < 1 ? 0.2 * sin(PI * at) : (at < 3 ? -0.1 * sin(PI * (at - 1) / 2) : 0);
    *p = 6 - *q;
    *q += t < 60 ? 0.25 : 0;
}

static void base_is_mended(void **state) {
    (void)state;
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 180, leak_closes, NULL), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    int after = 0;
    for (int i = 0; i < got.rows; i++) {
        after += (double)got.row[i].t0_ns * 1e-9 > 80;
    }
    assert_in_range(after, 32, 34);
}

/* 40 s without a breath under a heart of 0.05 L/s: the apnoea counts from where V1's last breath has run out (0.02 L/s after
 * RC ln(1/0.02) = 1.96 s), whatever the beats do. */
static void heart_alone(const void *user, double t, double *p, double *q) {
    (void)user;
    lung_at(&lungs[0], t < 60 ? fmod(t, 3) : t < 100 ? 2.9 : fmod(t - 100, 3), p, q);
    *q += 0.05 * sin(2 * PI * 1.25 * t);
}

static void apnoea_from_the_end_of_flow(void **state) {
    (void)state;
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 160, heart_alone, NULL), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    int seen = 0;
    for (int i = 0; i < got.events; i++) {
        if (got.event[i].id == EVENT_apnoea) {
            seen++;
            assert_true(fabs((double)got.event[i].start_ns * 1e-9 - 59.96) < 0.8);
            assert_true(fabs((double)got.event[i].end_ns * 1e-9 - 100) < 0.2);
        }
    }
    assert_int_equal(seen, 1);
}

static void by_scale(const void *user, double t, double *p, double *q) {
    const struct scaled *s = user;
    lung_at(s->l, fmod(t, lung_cycle_s(s->l)), p, q);
    if (t >= s->hold_from && t < s->hold_to) {
        *q = 0.01 * sin(2 * PI * t);
    }
    *q = *q * s->gain + s->offset;
}

static void timing(struct collected *c, const struct scaled *s, double seconds) {
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    info.flow_uncalibrated = true;
    assert_int_equal(rig_new(&e, c, &info), TM_OK);
    assert_int_equal(rig_feed(e, c, 100, 0, seconds, by_scale, s), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
}

/* Flow of unknown scale: the same times whatever the factor and the offset, and no volume. */
static void any_scale(void **state) {
    (void)state;
    static const double gain[] = {60, 0.001, 60}, offset[] = {0, 0, -35};
    struct scaled s = {1, 0, &lungs[0], 0, 0};
    timing(&first, &s, 120);
    assert_in_range(first.rows, 36, 40);
    for (int k = 0; k < 3; k++) {
        s.gain = gain[k];
        s.offset = offset[k];
        timing(&got, &s, 120);
        assert_int_equal(got.rows, first.rows);
        for (int i = 0; i < got.rows; i++) {
            assert_int_equal(got.row[i].t0_ns, first.row[i].t0_ns);
            assert_int_equal(got.row[i].t1_ns, first.row[i].t1_ns);
            assert_true(isnan(got.row[i].v[COL_vti_ml]));
        }
    }
}

/* ... and they are the breath's own, although expired flow shows as well and rises slowly to its end: within 0.2 s (two
 * means of 50 ms before a rise, and two after a fall, may count as the hump's). */
static void alone_uncalibrated(const void *user, double t, double *p, double *q) {
    alone(user, t, p, q);
    *q = 40 * *q + 7;
}

static void scale_unknown_times_known(void **state) {
    (void)state;
    struct recording_info info;
    struct engine *e;
    struct scaled s = {60, 0, &lungs[0], 0, 0};
    timing(&got, &s, 120);
    for (int i = 2; i + 1 < got.rows; i++) {
        double t0 = fmod((double)got.row[i].t0_ns * 1e-9 + 1.5, 3) - 1.5;
        assert_true(fabs(t0) < 0.2);
        assert_true(fabs(got.row[i].v[COL_ti_s] - (lungs[0].ti + lungs[0].tip)) < 0.2);
    }
    rig_info(&info, 100, PATIENT_ADULT);
    info.flow_uncalibrated = true;
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 160, alone_uncalibrated, NULL), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    assert_in_range(got.rows, 36, 40);
    for (int i = 2; i + 1 < got.rows; i++) {
        double t0 = fmod((double)got.row[i].t0_ns * 1e-9 + 2, 4) - 2;
        assert_true(fabs(t0) < 0.2);
        assert_true(fabs(got.row[i].v[COL_ti_s] - 1) < 0.2);
    }
}

static void ripple_is_rest(void **state) {
    (void)state;
    struct scaled s = {60, 0, &lungs[0], 60, 80};
    timing(&got, &s, 120);
    for (int i = 0; i < got.rows; i++) {
        double t0 = (double)got.row[i].t0_ns * 1e-9;
        if (t0 > 60.5 && t0 < 79.5) {
            fail_msg("a breath at %g s, within the hold", t0);
        }
    }
    assert_in_range(got.rows, 28, 35);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(half_sine_alone), cmocka_unit_test(leak), cmocka_unit_test(apnoea_from_the_end_of_flow), cmocka_unit_test(base_is_mended),
                                       cmocka_unit_test(any_scale),
                                       cmocka_unit_test(scale_unknown_times_known),
                                       cmocka_unit_test(ripple_is_rest)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
