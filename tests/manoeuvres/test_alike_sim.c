/* Look-alikes in scripted recordings of the simulator, whose answer is known: each where it happens, and none of them where nothing
 * does. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "tests/engine/lung.h"
#include "tests/manoeuvres/script_samples.h"

static struct collected got;

static void played(const void *user, double t, double *p, double *q) {
    const struct script_samples *r = user;
    size_t i = (size_t)(t * 100 + 0.5);
    *p = r->p[i < r->n ? i : r->n - 1];
    *q = r->q[i < r->n ? i : r->n - 1];
}

/* An adult of 60 mL/cmH2O on volume control, 12 a minute, with what `more` adds; what the engine made of it is in `got`. */
static void run(const char *more) {
    char text[1024];
    struct recording_info info;
    struct engine *e;
    (void)snprintf(text, sizeof text,
                   "rate 100\nseconds 300\npatient adult\n0 set mode=vc vt_ml=500 tif_s=1 rate_per_min=12 peep_cmh2o=6 c_ml_cmh2o=60 ri_cmh2o_s_l=8 "
                   "re_cmh2o_s_l=10 noise_p=0.05 noise_q=0.003\n%s",
                   more);
    struct script_samples *r = script_samples(text);
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 299.9, played, r), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    script_samples_free(r);
}

static int count(enum event_id id) {
    int n = 0;
    for (int i = 0; i < got.events; i++) {
        n += got.event[i].id == id;
    }
    return n;
}

static const struct event *only(enum event_id id) {
    assert_int_equal(count(id), 1);
    for (int i = 0; i < got.events; i++) {
        if (got.event[i].id == id) {
            return &got.event[i];
        }
    }
    return NULL;
}

static double value(const struct event *e, const char *key) {
    for (int i = 0; i < e->n_values; i++) {
        if (strcmp(e->values[i].key, key) == 0) {
            return e->values[i].number;
        }
    }
    return NAN;
}

static int rows_with(enum reason code) {
    int n = 0;
    for (int i = 0; i < got.rows; i++) {
        n += (int)(got.row[i].quality >> code & 1);
    }
    return n;
}

static void nothing(void **state) {
    (void)state;
    static const enum event_id seven[] = {EVENT_cardiac_oscillation, EVENT_secretions, EVENT_condensate,  EVENT_leak,
                                          EVENT_cough,               EVENT_hiccup,     EVENT_nebulisation};
    static const char *const quiet[] = {"", "0 set drive_per_min=16 pmus_cmh2o=8\n",
                                        "0 set mode=ps dp_cmh2o=10 drive_per_min=18 pmus_cmh2o=6 push_cmh2o=6\n"};
    for (size_t k = 0; k < sizeof quiet / sizeof *quiet; k++) {
        run(quiet[k]);
        for (size_t i = 0; i < sizeof seven / sizeof *seven; i++) {
            assert_int_equal(count(seven[i]), 0);
        }
    }
}

static void heart(void **state) {
    (void)state;
    run("0 set heart_l_s=0.05 heart_per_min=84\n");
    const struct event *e = only(EVENT_cardiac_oscillation);
    assert_true(fabs(value(e, "hr_per_min") - 84) < 5);
    assert_true(e->end_ns - e->start_ns > 200 * NS_PER_S);
    assert_int_equal(count(EVENT_secretions) + count(EVENT_condensate) + count(EVENT_cough) + count(EVENT_hiccup), 0);
}

static void secretions(void **state) {
    (void)state;
    run("100 set secretions=0.3 secretions_hz=8\n");
    const struct event *e = only(EVENT_secretions);
    assert_true(fabs((double)e->start_ns * 1e-9 - 100) < 10 && fabs(value(e, "hz") - 8) < 2);
    assert_int_equal(count(EVENT_condensate), 0);
}

static void condensate(void **state) {
    (void)state;
    run("100 set condensate_cmh2o=2\n");
    const struct event *e = only(EVENT_condensate);
    assert_true(fabs((double)e->start_ns * 1e-9 - 100) < 20);
}

static void leak(void **state) {
    (void)state;
    run("100 set leak_k=0.015\n");
    const struct event *e = only(EVENT_leak);
    assert_true(fabs((double)e->start_ns * 1e-9 - 100) < 25 && value(e, "leak_pct") > 20);
}

static void cough(void **state) {
    (void)state;
    run("150 cough count=3 peak=40\n");
    const struct event *e = only(EVENT_cough);
    assert_true(fabs((double)e->start_ns * 1e-9 - 150) < 0.3 && e->confidence == CONF_DEFINITE && value(e, "peaks") == 3);
    assert_true(fabs((double)e->end_ns * 1e-9 - 151.06) < 0.3);
    assert_true(rows_with(WHY_artefact) >= 1 && rows_with(WHY_artefact) <= 3);
    for (int i = 0; i < got.rows; i++) {
        if (got.row[i].quality >> WHY_artefact & 1) { /* no flag within it */
            assert_int_equal(got.row[i].unjudged[PATTERN_expiratory_effort], WHY_artefact);
            assert_int_equal(got.row[i].pattern[PATTERN_expiratory_effort], CONF_NONE);
        }
    }
}

static void hiccup(void **state) {
    (void)state;
    run("0 set hiccup_per_min=8 hiccup_cmh2o=15\n");
    assert_true(count(EVENT_hiccup) >= 1 && count(EVENT_hiccup) <= 2); /* they pause for 45 s now and then */
    assert_int_equal(count(EVENT_cough), 0);
}

static void nebuliser(void **state) {
    (void)state;
    run("120 nebulise flow=0.117 seconds=120 form=patient\n");
    const struct event *e = only(EVENT_nebulisation);
    assert_true(fabs((double)e->start_ns * 1e-9 - 120) < 8 && fabs((double)e->end_ns * 1e-9 - 240) < 12);
    assert_true(fabs(value(e, "added_l_min") - 7) < 0.5);
    assert_true(rows_with(WHY_added_flow) >= 22); /* 24 breaths in 120 s */
    for (int i = 0; i < got.rows; i++) {
        if (got.row[i].quality >> WHY_added_flow & 1) {
            assert_true(isnan(got.row[i].v[COL_vte_ml]) && got.row[i].why[COL_vte_ml] == WHY_added_flow);
        }
    }
    run("120 nebulise flow=0.117 seconds=120 form=machine\n"); /* reads as breath */
    assert_int_equal(count(EVENT_nebulisation), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(nothing), cmocka_unit_test(heart), cmocka_unit_test(secretions),
                                       cmocka_unit_test(condensate), cmocka_unit_test(leak), cmocka_unit_test(cough),
                                       cmocka_unit_test(hiccup), cmocka_unit_test(nebuliser)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
