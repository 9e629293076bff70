/* Work, power and stress index from samples to cells, and every reason that leaves them empty. Truth: closed forms of the
 * lungs of lung.h: work of a breath (PEEP + auto-PEEP + Ri F + VT/2C) VT in volume control, (PEEP + dP) VT in pressure
 * control, times 0.0980665 J (the same by ordinary differential equation to 1e-12). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "tests/engine/lung.h"

static struct collected got;

enum spoil { SOUND, EFFORT, LEAK, HEART, FALLING };
struct scene {
    const struct lung *l;
    enum spoil spoil;
};

/* With a hundredth of noise: a pressure of two values alone would be taken for a coarse channel. */
static void breathing(const void *user, double t, double *p, double *q) {
    const struct scene *s = user;
    double cycle = lung_cycle_s(s->l), at = fmod(t, cycle);
    lung_at(s->l, at, p, q);
    *p += 0.02 * (fmod(t * 137.031, 1) - 0.5);
    if (s->spoil == EFFORT && at > cycle - 0.25) { /* a pull that opens the machine */
        double pull = (at - cycle + 0.25) / 0.25;
        *p -= 2 * pull;
        *q += 0.12 * pull;
    }
    if (s->spoil == LEAK && *q < 0) {
        *q *= 0.6;
    }
    if (s->spoil == HEART) {
        *p += 0.35 * sin(8.3 * t);
    }
    if (s->spoil == FALLING && at < s->l->ti) { /* to half, and pressure with it */
        double less = 0.5 * *q * at / s->l->ti;
        *q = 1.25 * (*q - less);
        *p -= s->l->ri * less;
    }
}

static const struct breath_row *run(const struct lung *l, enum spoil spoil, bool known, double hole_s) {
    struct recording_info info;
    struct engine *e;
    struct scene s = {l, spoil};
    double cycle = lung_cycle_s(l), hole = 15 * cycle + 0.5 * l->ti;
    rig_info(&info, 200, l->infant ? PATIENT_INFANT : PATIENT_ADULT);
    info.flow_uncalibrated = !known;
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 200, 0, hole, breathing, &s), TM_OK);
    assert_int_equal(rig_feed(e, &got, 200, hole + hole_s, 25 * cycle, breathing, &s), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    for (int i = 0; i < got.rows; i++) {
        if (fabs(got.row[i].v[COL_start_s] - 15 * cycle) < 0.3) {
            return &got.row[i];
        }
    }
    fail_msg("no breath at %g s", 15 * cycle);
    return NULL;
}

static void near(const struct lung *l, const struct breath_row *r, enum col c, double want, double within) {
    if (!(fabs(r->v[c] - want) <= within)) {
        fail_msg("%s: column %d is %g (%s) for %g", l->name, (int)c, r->v[c], reason_name((enum reason)r->why[c]), want);
    }
}

static void empty(const struct breath_row *r, enum col c, enum reason why) {
    if (!isnan(r->v[c]) || r->why[c] != (uint8_t)why) {
        fail_msg("column %d is %g, %s for %s", (int)c, r->v[c], reason_name((enum reason)r->why[c]), reason_name(why));
    }
}

static void worked(void **state) {
    (void)state;
    for (size_t i = 0; i < LUNGS; i++) {
        const struct lung *l = &lungs[i];
        const struct breath_row *r = run(l, SOUND, true, 0);
        bool volume = l->vt_ml > 0;
        double vt = l->want_vt_ml / 1000, flow = volume ? vt / l->ti : 0;
        double mean = volume ? l->peep + l->want_auto + l->ri * flow + 0.5 * l->vt_ml / l->c_ml : l->peep + l->dp;
        double joule = 0.0980665 * mean * vt, step = 0.006 / l->ti; /* half a sample of it, twice */
        near(l, r, COL_power_j_min, joule * 60 / lung_cycle_s(l), (0.01 + step) * joule * 60 / lung_cycle_s(l));
        near(l, r, COL_wob_j_l, 0.0980665 * (mean - l->peep), (0.01 + step) * 0.0980665 * mean);
        if (!volume) {
            empty(r, COL_stress_index, WHY_not_applicable);
        } else if (l->infant) {
            empty(r, COL_stress_index, WHY_breath_short); /* 0.35 s */
        } else {
            near(l, r, COL_stress_index, 1, 0.03);
        }
    }
}

static void reasons(void **state) {
    (void)state;
    const struct lung *l = &lungs[0];
    const struct breath_row *r = run(l, EFFORT, true, 0);
    empty(r, COL_stress_index, WHY_effort_suspected);
    assert_true(r->quality & UINT64_C(1) << WHY_effort_suspected);
    assert_true(r->v[COL_power_j_min] > 0 && r->v[COL_wob_j_l] > 0);
    r = run(l, SOUND, true, 0);
    assert_false(r->quality & UINT64_C(1) << WHY_effort_suspected);
    r = run(l, LEAK, true, 0);
    empty(r, COL_stress_index, WHY_leak_high);
    empty(r, COL_wob_j_l, WHY_leak_high);
    empty(r, COL_power_j_min, WHY_leak_high);
    (void)run(l, HEART, true, 0); /* one breath says anything from 0.7 to 1.4, with small residuals */
    empty(&got.row[20], COL_stress_index, WHY_fit_poor);
    r = run(l, FALLING, true, 0);
    empty(r, COL_stress_index, WHY_flow_not_constant);
    r = run(l, SOUND, false, 0);
    empty(r, COL_stress_index, WHY_no_calib);
    empty(r, COL_wob_j_l, WHY_no_calib);
    empty(r, COL_power_j_min, WHY_no_calib);
    r = run(l, SOUND, true, 0.04); /* 4 % of its volume */
    empty(r, COL_stress_index, WHY_gap);
    empty(r, COL_wob_j_l, WHY_gap);
    empty(r, COL_power_j_min, WHY_gap);
}

/* One breath alone says nothing of what a beat does to it. */
static void few_breaths(void **state) {
    (void)state;
    (void)run(&lungs[0], SOUND, true, 0);
    empty(&got.row[2], COL_stress_index, WHY_few_breaths);
    assert_true(got.row[10].v[COL_stress_index] > 0.9);
}

/* The last breath has no rate, for the input ends in it: no power, but its work per litre. */
static void cut(void **state) {
    (void)state;
    (void)run(&lungs[0], SOUND, true, 0);
    const struct breath_row *r = got.row + (got.rows - 1);
    assert_false(r->complete);
    empty(r, COL_power_j_min, WHY_gap);
    near(&lungs[0], r, COL_wob_j_l, 0.0980665 * (0.18657 + 10), 0.03);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(worked), cmocka_unit_test(reasons),
                                       cmocka_unit_test(few_breaths), cmocka_unit_test(cut)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
