/* The engine's promises: when rows leave and in which order, what stops it, whose size counts, and
 * what it makes of signals that hold no breath. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "tests/engine/lung.h"

static struct collected got;

static void ventilated(const void *user, double t, double *p, double *q) {
    const struct lung *l = user;
    lung_at(l, fmod(t, lung_cycle_s(l)), p, q);
}

static void begin(struct engine **e, double rate, enum patient_size size) {
    struct recording_info info;
    rig_info(&info, rate, size);
    assert_int_equal(rig_new(e, &got, &info), TM_OK);
}

static void finish(struct engine *e) {
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
}

static void leave_in_time(void **state) {
    (void)state;
    struct engine *e;
    begin(&e, 100, PATIENT_ADULT);
    assert_int_equal(rig_feed(e, &got, 100, 0, 400, ventilated, &lungs[0]), TM_OK);
    int before = got.rows;
    assert_true(before > 80 && before < 100); /* 280 s are more than 120 s old: 93 breaths of 3 s */
    assert_false(got.too_early);
    finish(e);
    assert_true(got.rows > before + 35);
    for (int i = 1; i < got.rows && i < COLLECTED; i++) {
        assert_true(got.row[i].t0_ns >= got.row[i - 1].t2_ns);
        assert_int_equal(got.row[i].number, got.row[i - 1].number + 1);
    }
    for (int i = 1; i < got.events && i < COLLECTED; i++) {
        assert_true(got.event[i].end_ns >= got.event[i - 1].end_ns);
    }
    assert_int_equal(engine_totals(e)->breaths, got.rows);
    assert_int_equal(engine_totals(e)->samples, 40000);
    engine_destroy(e);
}

static void push_after_end(void **state) {
    (void)state;
    struct engine *e;
    begin(&e, 50, PATIENT_ADULT);
    assert_int_equal(rig_feed(e, &got, 50, 0, 20, ventilated, &lungs[0]), TM_OK);
    finish(e);
    assert_int_equal(rig_feed(e, &got, 50, 20, 21, ventilated, &lungs[0]), TM_ERR_USAGE);
    engine_destroy(e);
    engine_destroy(NULL);
}

static void failing_sink(void **state) {
    (void)state;
    struct engine *e;
    begin(&e, 50, PATIENT_ADULT);
    got.fail_at = 5;
    assert_int_equal(rig_feed(e, &got, 50, 0, 400, ventilated, &lungs[0]), 77);
    assert_int_equal(got.rows, 5);
    engine_destroy(e);
    begin(&e, 50, PATIENT_ADULT);
    got.fail_at = 2;
    assert_int_equal(rig_feed(e, &got, 50, 0, 60, ventilated, &lungs[0]), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), 77); /* what waits leaves at the end */
    assert_int_equal(got.rows, 2);
    engine_destroy(e);
}

/* Breaths of 12 and 18.5 mL are an infant's, 500 mL an adult's; what is stated wins. */
static void size_inferred(void **state) {
    (void)state;
    static const struct {
        int lung;
        enum patient_size stated, want;
    } cases[] = {{6, PATIENT_UNKNOWN, PATIENT_INFANT}, {13, PATIENT_UNKNOWN, PATIENT_INFANT},
                 {0, PATIENT_UNKNOWN, PATIENT_ADULT},  {11, PATIENT_UNKNOWN, PATIENT_ADULT},
                 {0, PATIENT_CHILD, PATIENT_CHILD},    {13, PATIENT_ADULT, PATIENT_ADULT}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        struct engine *e;
        begin(&e, 100, cases[k].stated);
        assert_int_equal(rig_feed(e, &got, 100, 0, 100, ventilated, &lungs[cases[k].lung]), TM_OK);
        finish(e);
        assert_int_equal(engine_totals(e)->patient, cases[k].want);
        assert_int_equal(engine_totals(e)->patient_inferred, cases[k].stated == PATIENT_UNKNOWN);
        if (cases[k].stated ==
            PATIENT_UNKNOWN) { /* no breath of the first minute is lost by the choice */
            assert_true(fabs(got.rows - 100 / lung_cycle_s(&lungs[cases[k].lung])) <= 2);
        }
        engine_destroy(e);
    }
}

static void silent(const void *user, double t, double *p, double *q) {
    (void)user, (void)t;
    *p = *q = 0;
}

static void spike_of_p(const void *user, double t, double *p, double *q) {
    (void)user;
    *p = fmod(t + 1e-9, 2.0) < 0.009 ? 80 : 5;
    *q = 0;
}

static void spike_of_q(const void *user, double t, double *p, double *q) {
    (void)user;
    *p = 5;
    *q = fmod(t + 1e-9, 2.0) < 0.009 ? 3 : 0;
}

/* In both at once, alike. One sample of 3 L/s is 30 mL: two such, 2 s apart, pass for a breath at
 * the start of a recording of unknown size, with or without a spike of pressure. */
static void spikes(const void *user, double t, double *p, double *q) {
    (void)user;
    bool spike = fmod(t + 1e-9, 2.0) < 0.009; /* one sample in 200 */
    *p = spike ? 80 : 5;
    *q = spike ? 3 : 0;
}

static void no_numbers(const void *user, double t, double *p, double *q) {
    (void)user, (void)t;
    *p = *q = NAN;
}

static void extremes(const void *user, double t, double *p, double *q) {
    (void)user;
    double sign = fmod(t * 100 + 0.5, 2) < 1 ? 1 : -1;
    *p = sign * 300;
    *q = sign * 20;
}

static void no_breath(void **state) {
    (void)state;
    static const struct {
        wave_fn *fn;
        double seconds;
        int at_most; /* rows; a known shortfall where it is not 0 */
    } cases[] = {{silent, 10000, 0}, {spike_of_p, 600, 0}, {spike_of_q, 600, 2},
                 {spikes, 600, 2},   {no_numbers, 600, 0}, {extremes, 600, 0}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        struct engine *e;
        begin(&e, 100, PATIENT_UNKNOWN);
        assert_int_equal(rig_feed(e, &got, 100, 0, cases[k].seconds, cases[k].fn, NULL), TM_OK);
        finish(e);
        if (got.rows > cases[k].at_most) {
            fail_msg("case %zu: %d breaths where there is none", k, got.rows);
        }
        engine_destroy(e);
    }
}

/* Apnoea of 30 s between breaths: no breath within it, and the breaths on both sides are found. */
static void apnoea(void **state) {
    (void)state;
    const struct lung *l = &lungs[0];
    struct engine *e;
    begin(&e, 100, PATIENT_ADULT);
    assert_int_equal(rig_feed(e, &got, 100, 0, 60, ventilated, l), TM_OK);
    static const struct lung rest = {"rest", false, 10, 10, 50, 1e-9, 10, 0,
                                     0,      20,    5,  0,  0,  0,    0,  0};
    assert_int_equal(rig_feed(e, &got, 100, 60, 90, ventilated, &rest), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 90, 150, ventilated, l), TM_OK);
    finish(e);
    assert_in_range(got.rows, 38, 40);
    for (int i = 0; i < got.rows; i++) {
        double t0 = (double)got.row[i].t0_ns * 1e-9;
        assert_true(t0 < 57.1 || t0 > 89.9);
    }
    engine_destroy(e);
}

/* A hole of 40 ms stays within its breath, one of 200 ms ends it; neither invents one. */
static void holes(void **state) {
    (void)state;
    static const double length[] = {0.04, 0.2};
    for (int k = 0; k < 2; k++) {
        struct engine *e;
        begin(&e, 100, PATIENT_ADULT);
        assert_int_equal(rig_feed(e, &got, 100, 0, 62, ventilated, &lungs[0]), TM_OK);
        assert_int_equal(rig_feed(e, &got, 100, 62 + length[k], 120, ventilated, &lungs[0]), TM_OK);
        finish(e);
        const struct engine_totals *n = engine_totals(e);
        assert_int_equal(n->holes_short, k == 0);
        assert_int_equal(n->holes_long, k == 1);
        int cut = 0;
        for (int i = 0; i + 1 < got.rows; i++) {
            cut += !got.row[i].complete;
        }
        assert_int_equal(cut, k == 1);
        assert_in_range(got.rows, 39, 41);
        engine_destroy(e);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(leave_in_time), cmocka_unit_test(push_after_end),
        cmocka_unit_test(failing_sink),  cmocka_unit_test(size_inferred),
        cmocka_unit_test(no_breath),     cmocka_unit_test(apnoea),
        cmocka_unit_test(holes)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
