/* Minute volume and apnoea over what a night does to them: minute volume is told only where the last minute is known, and then it is the sum of the
 * expired volumes of that minute. Truth: the volume that the wave breathes out, by its own closed form.
 * Source of the definition: sum of expired tidal volumes over a minute (common practice, no source). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "tests/engine/lung.h"

#define VT_L 0.450
#define TAU  0.6

/* Volume control 450 mL in 1 s every 4 s; nothing breathes from quiet_from to quiet_to, where flow is `offset`. */
struct night {
    double quiet_from, quiet_to, offset;
};

static bool quiet(const struct night *n, double t) {
    return t >= n->quiet_from && t < n->quiet_to;
}

static void wave(const void *user, double t, double *p, double *q) {
    const struct night *n = user;
    double at = fmod(t, 4), v = VT_L * at;
    if (quiet(n, t)) {
        *q = n->offset;
        *p = 5;
        return;
    }
    *q = VT_L;
    if (at >= 1) {
        v = VT_L * exp(-(at - 1) / TAU);
        *q = -v / TAU;
    }
    *p = 5 + v / 0.05 + (*q > 0 ? 10 * *q : 0);
}

/* Breaths end at multiples of 4 s: those that began in the minute before, each VT. */
static double truth_l_min(const struct night *n, double end_s) {
    double sum = 0;
    for (double t0 = end_s - 60; t0 < end_s - 1; t0 += 4) {
        sum += quiet(n, t0 + 0.5) ? 0 : VT_L;
    }
    return sum;
}

static struct collected got;

static void run(const struct night *n, double rate, double to_s) {
    struct recording_info info;
    struct engine *e;
    rig_info(&info, rate, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, rate, 0, to_s, wave, n), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
}

/* Where the minute starts inside the quiet stretch, the breath that it belongs to counts by time: up to its volume. */
static double allowed(const struct night *n, double end_s, double want) {
    return 0.02 * want + 0.02 + (quiet(n, end_s - 60) && n->quiet_to - n->quiet_from < 20 ? VT_L : 0);
}

/* Every figure told is true, and `least` are told. */
static void judge(const struct night *n, double rate, int least) {
    int told = 0;
    for (int i = 0; i < got.rows; i++) {
        const struct breath_row *r = &got.row[i];
        double end = (double)r->t2_ns * 1e-9, ve = r->v[COL_ve_l_min], vti = r->v[COL_vti_ml];
        if (!isnan(ve)) {
            told++;
            double want = truth_l_min(n, 4 * round(end / 4));
            if (!(fabs(ve - want) <= allowed(n, 4 * round(end / 4), want))) {
                fail_msg("breath that ends at %.2f s: %.3f L/min, not %.3f", end, ve, want);
            }
        }
        if (r->complete && !isnan(vti) && !(fabs(vti - 1000 * VT_L) < 10)) {
            fail_msg("%g s of %g L/s at %g Hz: breath %.2f to %.2f s: VTi %.1f mL", n->quiet_to - n->quiet_from, n->offset, rate, (double)r->t0_ns * 1e-9, end, vti);
        }
        if (!isnan(r->v[COL_ttot_s])) {
            assert_true(r->v[COL_ttot_s] < 21);
        }
    }
    assert_true(told >= least);
}

static void it_is_told_after_a_minute_and_true(void **state) {
    (void)state;
    struct night n = {1e9, 1e9, 0};
    run(&n, 100, 200);
    judge(&n, 100, 33);
    for (int i = 0; i < got.rows; i++) {
        if (got.row[i].t2_ns < INT64_C(59900000000)) {
            assert_true(isnan(got.row[i].v[COL_ve_l_min]));
        }
    }
}

/* A quiet stretch of each length, at flow zero and at an offset inward: the breath before a long one has an expired volume
 * that is not known, and inward flow that stays is neither a breath nor part of one, however long. */
static void it_is_true_after_a_quiet_stretch(void **state) {
    (void)state;
    static const double seconds[] = {8, 16, 24, 32, 44, 90}, offsets[] = {0, 0.03, 0.06, 0.1, 0.15}, rates[] = {50, 100, 1000};
    for (size_t s = 0; s < sizeof seconds / sizeof seconds[0]; s++) {
        for (size_t o = 0; o < (seconds[s] < 20 ? 1 : sizeof offsets / sizeof offsets[0]); o++) {
            for (size_t h = 0; h < sizeof rates / sizeof rates[0]; h++) {
                struct night n = {100, 100 + seconds[s], offsets[o]};
                run(&n, rates[h], 320);
                judge(&n, rates[h], 20);
            }
        }
    }
}

/* Twenty seconds without a breath are an apnoea (20 s: common practice, no source) even if no breath follows. */
static void an_apnoea_at_the_end_is_told(void **state) {
    (void)state;
    static const double seconds[] = {12, 26, 60};
    for (size_t s = 0; s < sizeof seconds / sizeof seconds[0]; s++) {
        struct night n = {100, 1e9, 0};
        run(&n, 100, 100 + seconds[s]);
        int apnoeas = 0;
        for (int i = 0; i < got.events; i++) {
            const struct event *e = &got.event[i];
            if (e->id == EVENT_apnoea) {
                apnoeas++;
                assert_true(fabs((double)e->end_ns * 1e-9 - (100 + seconds[s])) < 0.05);
                assert_true(fabs((double)e->start_ns * 1e-9 - 99.0) < 1.2);
                assert_string_equal(e->values[0].text, "end");
            }
        }
        assert_int_equal(apnoeas, seconds[s] > 20);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(it_is_told_after_a_minute_and_true),
        cmocka_unit_test(it_is_true_after_a_quiet_stretch),
        cmocka_unit_test(an_apnoea_at_the_end_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
