/* Static values of lungs whose state is known in closed form, from samples to cells, each on its row. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "tests/engine/lung.h"

static struct collected got;

/* The steady state, with a hundredth of noise: a pressure of two values alone would be taken for a coarse channel. */
static void breathing(const void *user, double t, double *p, double *q) {
    const struct lung *l = user;
    lung_at(l, fmod(t, lung_cycle_s(l)), p, q);
    *p += 0.02 * (fmod(t * 137.031, 1) - 0.5);
}

static void run(const struct lung *l) {
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, l->infant ? PATIENT_INFANT : PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 25 * lung_cycle_s(l), breathing, l), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    assert_in_range(got.rows, 23, 26);
}

static void near(const struct lung *l, const struct breath_row *r, enum col c, double want, double within) {
    if (!(fabs(r->v[c] - want) <= within)) {
        fail_msg("%s: column %d is %g (%s) for %g", l->name, (int)c, r->v[c], reason_name((enum reason)r->why[c]), want);
    }
}

/* Trapping in its steady state: auto-PEEP by flow and by fit, and what stays in. */
static void trapped(void **state) {
    (void)state;
    static const int which[] = {2, 3, 4, 5, 10, 11, 12};
    for (size_t i = 0; i < sizeof which / sizeof which[0]; i++) {
        const struct lung *l = &lungs[which[i]];
        run(l);
        const struct breath_row *r = &got.row[15];
        if (r->autopeep_basis != AUTOPEEP_FLOW) {
            fail_msg("%s: basis %d, %s", l->name, (int)r->autopeep_basis, reason_name((enum reason)r->why[COL_autopeep_flow_cmh2o]));
        }
        near(l, r, COL_autopeep_flow_cmh2o, l->want_auto, 0.03 * l->want_auto + 0.03);
        /* A step of flow between two samples leaves up to a sample's volume open. */
        double step = l->vt_ml > 0 ? l->vt_ml / l->ti * 0.01 / l->c_ml : 0;
        near(l, r, COL_autopeep_fit_cmh2o, l->want_auto, 0.05 * l->want_auto + 0.1 + step);
        near(l, r, COL_autopeep_cmh2o, r->v[COL_autopeep_flow_cmh2o], 0);
        near(l, r, COL_total_peep_cmh2o, l->peep + l->want_auto, 0.1 + 0.03 * l->want_auto);
        near(l, r, COL_rc_exp_s, l->re * l->c_ml / 1000, 0.05 * l->re * l->c_ml / 1000);
        near(l, r, COL_trapped_ml, l->want_auto * l->c_ml, 0.05 * l->want_auto * l->c_ml + 3);
    }
}

/* A set pause of half a second: its plateau is the alveolar pressure, driving pressures start from the row before. */
static void pause(void **state) {
    (void)state;
    const struct lung *l = &lungs[7];
    run(l);
    const struct breath_row *r = &got.row[15];
    double plateau = l->peep + l->want_auto + l->vt_ml / l->c_ml;
    assert_int_equal(r->pplat_basis, PPLAT_PAUSE);
    near(l, r, COL_pplat_cmh2o, plateau, 0.05);
    near(l, r, COL_driving_cmh2o, l->vt_ml / l->c_ml, 0.15);
    near(l, r, COL_driving_airway_cmh2o, l->vt_ml / l->c_ml + l->want_auto, 0.1);
    assert_int_equal(r->cstat_basis, CSTAT_TOTAL_PEEP);
    near(l, r, COL_cstat_ml_cmh2o, l->c_ml, 0.03 * l->c_ml);
    assert_int_equal(got.events, 0);
}

/* Without a pause, and in pressure control while flow still runs, nothing tells the plateau. */
static void none(void **state) {
    (void)state;
    static const int which[] = {0, 10};
    for (size_t i = 0; i < 2; i++) {
        run(&lungs[which[i]]);
        const struct breath_row *r = &got.row[15];
        assert_true(isnan(r->v[COL_pplat_cmh2o]));
        assert_int_equal(r->pplat_basis, PPLAT_NONE);
        assert_int_equal(r->why[COL_pplat_cmh2o], WHY_no_hold);
        assert_int_equal(r->why[COL_driving_cmh2o], WHY_no_hold);
        assert_int_equal(r->why[COL_cstat_ml_cmh2o], WHY_no_hold);
    }
}

/* Pressure control with time for flow to run out: the set level. */
static void run_out(void **state) {
    (void)state;
    struct lung l = lungs[9]; /* R 10, C 30: 0.3 s */
    l.ti = 2;
    run(&l);
    const struct breath_row *r = &got.row[15];
    assert_int_equal(r->pplat_basis, PPLAT_ZERO_FLOW);
    near(&l, r, COL_pplat_cmh2o, l.peep + l.dp, 0.05);
    near(&l, r, COL_cstat_ml_cmh2o, l.c_ml, 0.03 * l.c_ml);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(trapped), cmocka_unit_test(pause), cmocka_unit_test(none),
                                       cmocka_unit_test(run_out)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
