/* The index of rate and volume, trigger delay and P0.1 on rows: what depends on kind and neighbours, from facts to cells. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "analyze/session/drive_cells.h"

static struct pending p;

static int begin(void **state) {
    (void)state;
    return pending_init(&p, 1, 100);
}

static int finish(void **state) {
    (void)state;
    pending_free(&p);
    return 0;
}

#define CYCLE_NS (60 * NS_PER_S / 28)

/* A breath of 0.35 L, 28 a minute. */
static struct pending_row *breath(enum breath_kind kind) {
    int64_t t0 = p.tail ? pending_at(&p, p.tail - 1)->row.t2_ns : 0;
    struct pending_row *r = pending_add(&p);
    r->row.t0_ns = t0;
    r->row.t2_ns = t0 + CYCLE_NS;
    r->row.complete = true;
    r->row.kind = kind;
    r->row.initiation = kind == KIND_MANDATORY ? INIT_MACHINE : INIT_PATIENT;
    r->more.machine = kind != KIND_UNASSISTED;
    row_set(&r->row, COL_vte_ml, 350);
    r->drive.follows = true;
    r->drive.departure_ns = -1;
    r->drive.support_cmh2o = 8;
    r->drive.drop_cmh2o = 1.2;
    r->drive.p01 = (struct drive_p01){.p01_cmh2o = 2, .why = WHY_NONE};
    r->muscle.read = true;
    return r;
}

static const struct breath_row *cells(void) {
    drive_cells(&p, p.tail - 1);
    return &pending_at(&p, p.tail - 1)->row;
}

static const struct breath_row *minute(enum breath_kind kind, int n) {
    const struct breath_row *row = NULL;
    for (int i = 0; i < n; i++) {
        breath(kind);
        row = cells();
    }
    return row;
}

static void index_is(const struct breath_row *row, double rsbi, double support) {
    assert_int_equal(row->why[COL_rsbi_per_min_l], WHY_NONE);
    assert_true(fabs(row->v[COL_rsbi_per_min_l] - rsbi) < 1e-6);
    assert_true(fabs(row->v[COL_rsbi_support_cmh2o] - support) < 1e-9);
}

static void no_index(const struct breath_row *row, enum reason why) {
    assert_true(isnan(row->v[COL_rsbi_per_min_l]) && isnan(row->v[COL_rsbi_support_cmh2o]));
    assert_int_equal(row->why[COL_rsbi_per_min_l], why);
    assert_int_equal(row->why[COL_rsbi_support_cmh2o], why);
}

/* 28 / 0.35 = 80 (definition). */
static void rapid(void **state) {
    (void)state;
    no_index(minute(KIND_SUPPORTED, 27), WHY_few_breaths);
    index_is(minute(KIND_SUPPORTED, 2), 80, 8);
    index_is(minute(KIND_SUPPORTED, 300), 80, 8); /* round the ring */
    no_index(minute(KIND_MANDATORY, 1), WHY_not_applicable);
    index_is(minute(KIND_SUPPORTED, 1), 80, 8); /* one of another kind */
    minute(KIND_MANDATORY, 2);
    no_index(minute(KIND_SUPPORTED, 1), WHY_few_breaths);
}

static void index_alone(void **state) {
    (void)state;
    index_is(minute(KIND_UNASSISTED, 30), 80, 0);
    no_index(minute(KIND_SUPPORTED, 10), WHY_unsteady); /* support came on: 0, then 8 */
    index_is(minute(KIND_SUPPORTED, 30), 80, 8);
}

static void broken(void (*spoil)(struct pending_row *r), enum reason why) {
    minute(KIND_SUPPORTED, 40);
    spoil(breath(KIND_SUPPORTED));
    no_index(cells(), why);
    no_index(minute(KIND_SUPPORTED, 27), why);
    index_is(minute(KIND_SUPPORTED, 2), 80, 8);
}

static void event(struct pending_row *r) {
    row_quality(&r->row, WHY_event);
}
static void hole(struct pending_row *r) {
    row_quality(&r->row, WHY_gap);
}
static void leak(struct pending_row *r) {
    row_quality(&r->row, WHY_leak_high);
}
static void no_volume(struct pending_row *r) {
    row_empty(&r->row, COL_vte_ml, WHY_drift_high);
}
static void cut(struct pending_row *r) {
    r->row.complete = false;
    row_empty(&r->row, COL_ttot_s, WHY_breath_long);
}
static void later(struct pending_row *r) { /* after something that is no breath */
    r->row.t0_ns += 5 * NS_PER_S;
    r->row.t2_ns += 5 * NS_PER_S;
}

static void index_broken(void **state) {
    (void)state;
    broken(event, WHY_event);
    broken(hole, WHY_gap);
    broken(leak, WHY_leak_high);
    broken(no_volume, WHY_drift_high);
    broken(cut, WHY_breath_long);
    minute(KIND_SUPPORTED, 40);
    later(breath(KIND_SUPPORTED));
    no_index(cells(), WHY_event);
}

static void support_unknown(void **state) {
    (void)state;
    const struct breath_row *row = NULL;
    for (int i = 0; i < 40; i++) {
        breath(KIND_SUPPORTED)->drive.support_cmh2o = (double)NAN;
        row = cells();
    }
    assert_true(fabs(row->v[COL_rsbi_per_min_l] - 80) < 1e-6);
    assert_int_equal(row->why[COL_rsbi_support_cmh2o], WHY_support_unknown);
}

/* An effort from 0.14 s before t0, seen in flow 0.03 s later. */
static struct pending_row *triggered(void) {
    struct pending_row *r = breath(KIND_SUPPORTED);
    struct effort e = {.start_ns = r->row.t0_ns - 140000000, .end_ns = r->row.t0_ns + NS_PER_S / 2, .peak_cmh2o = 5};
    drive_effort(&p, &e);
    r->drive.departure_ns = r->row.t0_ns - 110000000;
    return r;
}

static void no_delay(enum reason why) {
    const struct breath_row *row = cells();
    assert_true(isnan(row->v[COL_trigger_delay_s]));
    assert_int_equal(row->why[COL_trigger_delay_s], why);
}

static void delay(void **state) {
    (void)state;
    minute(KIND_SUPPORTED, 3);
    triggered();
    const struct breath_row *row = cells();
    assert_true(fabs(row->v[COL_trigger_delay_s] - 0.14) < 1e-9);
    assert_true(row->v[COL_trigger_drop_cmh2o] == 1.2);
    assert_true(row->v[COL_p01_cmh2o] == 2);
    assert_int_equal(row->p01_basis, P01_TRIGGER_PHASE);
    triggered()->drive.departure_ns -= NS_PER_S / 5;
    no_delay(WHY_below_resolution); /* the signs part */
    triggered()->drive.departure_ns = -1;
    no_delay(WHY_below_resolution);
    breath(KIND_SUPPORTED);
    no_delay(WHY_below_resolution);
    assert_int_equal(cells()->why[COL_trigger_drop_cmh2o], WHY_below_resolution);
    triggered()->muscle.heart_cmh2o = 0.61;
    no_delay(WHY_below_resolution);
    triggered()->muscle.heart_cmh2o = 0.59;
    assert_int_equal(cells()->why[COL_trigger_delay_s], WHY_NONE);
    triggered()->muscle.read = false;
    no_delay(WHY_no_mechanics);
    triggered()->drive.follows = false;
    no_delay(WHY_gap);
    triggered()->row.v[COL_leak_pct] = 41;
    no_delay(WHY_leak_high);
    triggered()->row.initiation = INIT_MACHINE;
    no_delay(WHY_not_applicable);
    assert_int_equal(cells()->why[COL_p01_cmh2o], WHY_no_hold);
    row_quality(&triggered()->row, WHY_event);
    no_delay(WHY_event);
    triggered();
    p.rate_hz = 40;
    no_delay(WHY_rate_low);
}

static void by_hold(void **state) {
    (void)state;
    struct pending_row *r = triggered();
    r->exp_held = true;
    r->exp_hold.p01 = (struct drive_p01){.p01_cmh2o = 3, .why = WHY_NONE};
    const struct breath_row *row = cells();
    assert_true(row->v[COL_p01_cmh2o] == 3);
    assert_int_equal(row->p01_basis, P01_EXP_HOLD);
    r->exp_hold.p01 = (struct drive_p01){.p01_cmh2o = (double)NAN, .why = WHY_no_effort};
    r->drive.p01 = (struct drive_p01){.p01_cmh2o = (double)NAN, .why = WHY_no_hold};
    row = cells();
    assert_int_equal(row->why[COL_p01_cmh2o], WHY_no_effort);
    assert_int_equal(row->p01_basis, P01_NONE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(rapid, begin, finish),           cmocka_unit_test_setup_teardown(index_alone, begin, finish),
        cmocka_unit_test_setup_teardown(index_broken, begin, finish),    cmocka_unit_test_setup_teardown(support_unknown, begin, finish),
        cmocka_unit_test_setup_teardown(delay, begin, finish),           cmocka_unit_test_setup_teardown(by_hold, begin, finish)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
