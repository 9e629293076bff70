/* Holds of a lung whose state is known in closed form: what is one, what is none, and what is read off it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "tests/engine/lung.h"

/* A lung in its steady state, with one stretch of shut valves: at the end of the inspiration of breath 20, or `after` s
 * into its expiration. What comes later comes later by so much. */
struct shut {
    const struct lung *l;
    double after;    /* s of its expiration; 0: at the end of inspiration */
    double hold_s;
    double leak;     /* fall of pressure, cmH2O/s */
    double pull;     /* a half-sine of 0.8 s against the shut valves, cmH2O, from 1.2 s on */
};

#define BREATH 20
#define PI 3.14159265358979

static struct collected got;
static const char *lung_name; /* of the last run */

static double held_from(const struct shut *s) {
    return BREATH * lung_cycle_s(s->l) + s->l->ti + s->l->tip + s->after;
}

/* Alveolar pressure where the valves shut: what went in and has not come out. */
static double alveolar(const struct shut *s) {
    const struct lung *l = s->l;
    double c = l->c_ml / 1000, out = exp(-l->te / (l->re * c)), end;
    if (l->vt_ml > 0) {
        end = l->vt_ml / 1000 / (1 - out);
    } else {
        double in = exp(-l->ti / (l->ri * c));
        end = c * l->dp * (1 - in) / (1 - in * out);
    }
    return l->peep + end / c * exp(-s->after / (l->re * c));
}

/* A pressure of two values alone would be taken for a channel that knows no others: a hundredth of noise. */
static double ripple(double t) {
    return 0.02 * (fmod(t * 137.031, 1) - 0.5);
}

static void wave(const void *user, double t, double *p, double *q) {
    const struct shut *s = user;
    double from = held_from(s);
    if (t < from || t >= from + s->hold_s) {
        lung_at(s->l, fmod(t < from ? t : t - s->hold_s, lung_cycle_s(s->l)), p, q);
        *p += ripple(t);
        return;
    }
    double at = t - from;
    *q = 0;
    *p = alveolar(s) - s->leak * at + ripple(t);
    if (at > 1.2 && at < 2.0) {
        *p -= s->pull * sin(PI * (at - 1.2) / 0.8);
    }
}

static void run(const struct shut *s) {
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 60 * lung_cycle_s(s->l), wave, s), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    assert_false(got.too_early);
    lung_name = s->l->name;
}

static int count(enum event_id id) {
    int n = 0;
    for (int i = 0; i < got.events; i++) {
        n += got.event[i].id == id;
    }
    return n;
}

static const struct event *the(enum event_id id) {
    if (count(id) != 1) {
        fail_msg("%s: %d of event %d", lung_name, count(id), (int)id);
    }
    for (int i = 0; i < got.events; i++) {
        if (got.event[i].id == id) {
            return &got.event[i];
        }
    }
    return NULL;
}

static const struct event_value *value(const struct event *e, const char *key) {
    for (int i = 0; i < e->n_values; i++) {
        if (strcmp(e->values[i].key, key) == 0) {
            return &e->values[i];
        }
    }
    return NULL;
}

static void near(const struct event *e, const char *key, double want, double within) {
    const struct event_value *v = value(e, key);
    assert_non_null(v);
    if (!(fabs(v->number - want) <= within)) {
        fail_msg("%s, %s: %g for %g", lung_name, key, v->number, want);
    }
}

/* Volume control, with and without a set pause, and pressure control with flow still running: the plateau is the alveolar
 * pressure; with constant flow PIP - plateau over flow is the resistance. */
static void plateau(void **state) {
    (void)state;
    static const int which[] = {0, 1, 2, 4, 5, 7, 10, 11, 12};
    for (size_t i = 0; i < sizeof which / sizeof which[0]; i++) {
        struct shut s = {.l = &lungs[which[i]], .hold_s = 3};
        run(&s);
        const struct event *e = the(EVENT_insp_hold);
        assert_int_equal(count(EVENT_exp_hold), 0);
        double from = held_from(&s) - s.l->tip; /* with a set pause: from where it began */
        if (!(fabs((double)e->start_ns * 1e-9 - from) < 0.1)) {
            fail_msg("%s: starts at %g for %g", lung_name, (double)e->start_ns * 1e-9, from);
        }
        assert_true(fabs((double)e->end_ns * 1e-9 - held_from(&s) - 3) < 0.1);
        near(e, "pplat_cmh2o", alveolar(&s), 0.02);
        near(e, "pplat_0_5_cmh2o", alveolar(&s), 0.02);
        assert_null(value(e, "why_empty"));
        if (s.l->vt_ml > 0) {
            near(e, "r_total_cmh2o_s_l", s.l->ri, 0.03 * s.l->ri); /* the peak is known to a sample: 0.1 of 5 */
            near(e, "r_init_cmh2o_s_l", s.l->ri, 0.03 * s.l->ri);
        }
    }
}

/* Flow still ran out as the valves shut: pressure rises to the lung's. */
static void total_peep(void **state) {
    (void)state;
    static const int which[] = {2, 3, 4, 5, 10, 12};
    for (size_t i = 0; i < sizeof which / sizeof which[0]; i++) {
        struct shut s = {.l = &lungs[which[i]], .after = lungs[which[i]].te - 0.001, .hold_s = 3};
        run(&s);
        const struct event *e = the(EVENT_exp_hold);
        assert_int_equal(count(EVENT_insp_hold), 0);
        assert_true(fabs((double)e->start_ns * 1e-9 - held_from(&s)) < 0.15);
        near(e, "total_peep_cmh2o", alveolar(&s), 0.02);
        near(e, "peep_cmh2o", s.l->peep, 0.02);
        near(e, "autopeep_cmh2o", s.l->want_auto, 0.03);
    }
}

/* An emptied lung shows nothing but an inflation that does not come: possible at best. */
static void nothing_trapped(void **state) {
    (void)state;
    struct shut s = {.l = &lungs[1], .after = 2.999, .hold_s = 3};
    run(&s);
    const struct event *e = the(EVENT_exp_hold);
    assert_int_equal(e->confidence, CONF_POSSIBLE);
    near(e, "autopeep_cmh2o", 0.0, 0.05);
}

/* A leak makes pressure fall in a straight line, an effort pulls at it: an event, without values. */
static void nothing_to_read(void **state) {
    (void)state;
    struct shut leaks = {.l = &lungs[0], .hold_s = 3, .leak = 0.7};
    struct shut pulls = {.l = &lungs[0], .hold_s = 3, .pull = 6};
    run(&leaks);
    const struct event *e = the(EVENT_insp_hold);
    assert_null(value(e, "pplat_cmh2o"));
    assert_string_equal(value(e, "why_empty")->text, "leak_high");
    run(&pulls);
    e = the(EVENT_insp_hold);
    assert_null(value(e, "pplat_cmh2o"));
    assert_string_equal(value(e, "why_empty")->text, "effort_suspected");
}

/* Ordinary breathing holds none: set pauses of 0.2 and 0.5 s, and pressure control whose flow has run out, among them. */
static void none(void **state) {
    (void)state;
    for (int i = 0; i < LUNGS; i++) {
        struct shut s = {.l = &lungs[i]};
        if (lungs[i].infant) {
            continue;
        }
        run(&s);
        assert_int_equal(count(EVENT_insp_hold), 0);
        assert_int_equal(count(EVENT_exp_hold), 0);
    }
}

/* A pause that is set anew and then repeats is a pause; so are long levels. */
static void pause_from_then_on(const void *user, double t, double *p, double *q) {
    const struct lung *l = user;
    static struct lung paused;
    double change = 20 * lung_cycle_s(l);
    if (t < change) {
        lung_at(l, fmod(t, lung_cycle_s(l)), p, q);
        return;
    }
    paused = *l;
    paused.tip = 1.2;
    lung_at(&paused, fmod(t - change, lung_cycle_s(&paused)), p, q);
}

static void set_pause(void **state) {
    (void)state;
    struct recording_info info;
    struct engine *e;
    rig_info(&info, 100, PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_int_equal(rig_feed(e, &got, 100, 0, 200, pause_from_then_on, &lungs[0]), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    assert_int_equal(count(EVENT_insp_hold), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(plateau),         cmocka_unit_test(total_peep),
                                       cmocka_unit_test(nothing_trapped), cmocka_unit_test(nothing_to_read),
                                       cmocka_unit_test(none),            cmocka_unit_test(set_pause)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
