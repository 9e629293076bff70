/* A recording in which nobody breathes: what is silent, what opens the circuit and what draws gas are told by the level
 * that pressure rests at. The waves are closed forms; 20 s are the usual bedside limit of an apnoea (common practice). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "tests/engine/lung.h"

#define PI 3.14159265358979

struct silence {
    double level; /* cmH2O */
    double leak;  /* L/s, at that level */
    double heart; /* L/s, amplitude */
    bool events;  /* opened from 60 to 75 s, drawn on from 150 to 160 s */
};

static struct collected got;

/* A lung of 50 mL/cmH2O behind 10 cmH2O/(L/s). */
static void wave(const void *user, double t, double *p, double *q) {
    const struct silence *s = user;
    double beat = sin(2 * PI * 1.2 * t);
    *p = s->level + 0.1 * beat + 0.02 * (fmod(t * 137.031, 1) - 0.5);
    *q = s->leak + s->heart * beat;
    if (!s->events) {
        return;
    }
    if (t >= 60 && t < 75) {
        *p -= s->level;
        *q += -s->leak - s->level / 10 * exp(-(t - 60) / 0.5);
    } else if (t >= 75 && t < 80) {
        *q += s->level / 10 * exp(-(t - 75) / 0.5);
    } else if (t >= 150 && t < 160) {
        *p -= 0.5;
        *q += 0.2;
    }
}

static void run(const struct silence *s) {
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 240, wave, s), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    assert_false(got.too_early);
}

static void expect(int i, enum event_id id, double from_s, double to_s) {
    assert_int_equal(got.event[i].id, id);
    assert_true(fabs((double)got.event[i].start_ns * 1e-9 - from_s) < 0.3);
    assert_true(fabs((double)got.event[i].end_ns * 1e-9 - to_s) < 0.3);
}

static void in_order(void **state) {
    (void)state;
    static const struct silence cases[] = {{8, 0, 0.02, true}, {8, 0.06, 0.02, true}, {5, 0, 0.04, true}};
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        run(&cases[k]);
        assert_int_equal(got.rows, 0);
        assert_int_equal(got.events, 5);
        expect(0, EVENT_apnoea, 0, 60);
        expect(1, EVENT_disconnection, 60, 75);
        expect(2, EVENT_apnoea, 75, 150);
        expect(3, EVENT_suction, 150, 160);
        expect(4, EVENT_apnoea, 160, 240);
        assert_int_equal(got.event[0].confidence, CONF_POSSIBLE); /* no breath was ever seen */
    }
}

/* Nobody need be there where pressure is the room's. */
static void nobody(void **state) {
    (void)state;
    run(&(struct silence){.level = 0, .heart = 0.001});
    assert_int_equal(got.events, 0);
    run(&(struct silence){.level = 6, .heart = 0.02});
    assert_int_equal(got.events, 1);
    expect(0, EVENT_apnoea, 0, 240);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(in_order), cmocka_unit_test(nobody)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
