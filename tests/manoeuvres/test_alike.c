/* Look-alikes: what each reads of signals of closed form, and what only looks like it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analyze/manoeuvres/cardiac_oscillation.h"
#include "analyze/manoeuvres/condensate.h"
#include "analyze/manoeuvres/cough.h"
#include "analyze/manoeuvres/hiccup.h"
#include "analyze/manoeuvres/leak.h"
#include "analyze/manoeuvres/nebulisation.h"
#include "analyze/manoeuvres/secretions.h"

#define RATE  200.0
#define TWICE 6.283185307179586
#define S(x)  ((int64_t)((x) * 1e9))

typedef void wave(double t, double *p, double *q);

static void record(struct ring *r, double seconds, wave *fn) {
    assert_int_equal(ring_init(r, RATE, INT64_C(8000000), seconds + 1), TM_OK);
    for (int i = 0; i < (int)(seconds * RATE); i++) {
        double p, q;
        fn(i / RATE, &p, &q);
        ring_push(r, S(i / RATE), p, q);
    }
}

/* Event's value; NAN: absent. */
static double value(const struct event *e, const char *key) {
    for (int i = 0; i < e->n_values; i++) {
        if (strcmp(e->values[i].key, key) == 0) {
            return e->values[i].number;
        }
    }
    return NAN;
}

/* 8 Hz on a fall of tau 0.6 s; pressure with it, through a limb of 3 against the flow or, from water between, the same way. */
static double limb;
static void falling(double t, double *p, double *q) {
    double ripple = 0.05 * sin(TWICE * 8 * t);
    *q = -0.8 * exp(-t / 0.6) + ripple;
    *p = 5 + limb * ripple;
}

static void ripples(void **state) {
    (void)state;
    struct ring r;
    struct noise z = {.q_sd_l_s = 0.004, .p_sd_cmh2o = 0.05};
    static struct ripple q, p;
    for (int way = -1; way <= 1; way += 2) {
        limb = way * 3;
        record(&r, 2, falling);
        ripple_read(&r, &z, RIPPLE_FLOW, 0.05, 20, 320, &q);
        ripple_read(&r, &z, RIPPLE_PRESSURE, 0.05, 20, 320, &p);
        ring_free(&r);
        assert_true(fabs(q.hz - 8) < 0.5);
        /* rms of a sine: its amplitude over root 2; gain by closed form: 1 - cos(2 pi 8 0.045), steps of 15 ms */
        assert_true(fabs(q.rms / q.gain - 0.05 / sqrt(2)) < 0.0015);
        assert_true(fabs(q.gain - (1 - cos(TWICE * 8 * 0.045)) * 0.976) < 0.1);
        assert_true(fabs(p.rms / p.gain - 0.15 / sqrt(2)) < 0.005);
        assert_true(way * ripple_together(&p, &q) > 0.98);
        assert_true(fabs(q.noise - 0.004 * sqrt(0.5)) < 1e-9); /* three samples a step, 1.5 of its variance */
    }
    record(&r, 2, falling);
    ripple_read(&r, &z, RIPPLE_FLOW, 0.05, 20, 30, &q);
    assert_int_equal(q.n, 0);
    ring_free(&r);
}

static struct seg_breath breath(int i, double period) {
    return (struct seg_breath){.t0_ns = S(i * period), .t1_ns = S(i * period + 1), .t2_ns = S((i + 1) * period), .has_t1 = true, .complete = true};
}

/* 40 breaths, of which one in `every` shows it. */
static bool bump;
static int secreting(double rms, double slow_rms, double hz, int every, struct event *out) {
    struct secretions s = {0};
    int n = 0;
    for (int i = 0; i < 40; i++) {
        struct seg_breath b = breath(i, 4);
        struct ripple fast = {.n = 40, .rms = i % every ? 0.005 : rms, .noise = 0.005, .hz = hz, .crossings = 8, .gain = 1.5};
        for (int k = 0; k < fast.n; k++) { /* a bump in a still stretch, or all of it */
            fast.y[k] = (float)(bump ? (k < 6) * 2.6 * fast.rms : 1.41 * fast.rms * sin(k));
        }
        struct ripple slow = {.n = 40, .rms = slow_rms, .noise = 0.005, .hz = 10, .gain = 1.5};
        n += secretions_breath(&s, &b, &fast, &slow, 1, out);
    }
    return n + secretions_cut(&s, out);
}

static void sawtooth(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(secreting(0.05, 0.005, 8, 1, &e), 1);
    assert_int_equal(e.id, EVENT_secretions);
    assert_true(e.start_ns == 0 && e.end_ns == S(160) && e.confidence == CONF_POSSIBLE);
    assert_true(fabs(value(&e, "hz") - 8) < 0.01);
    assert_true(fabs(value(&e, "flow_l_min") - 60 * sqrt(0.05 * 0.05 - 0.005 * 0.005) / 1.5) < 0.01);
    assert_int_equal(secreting(0.05, 0.045, 8, 1, &e), 0);  /* as much where flow is slow: something else */
    assert_int_equal(secreting(0.007, 0.005, 8, 1, &e), 0); /* noise */
    assert_int_equal(secreting(0.05, 0.005, 20, 1, &e), 0); /* a valve that chatters */
    assert_int_equal(secreting(0.05, 0.005, 8, 3, &e), 0);  /* one breath in three */
    bump = true;
    assert_int_equal(secreting(0.05, 0.005, 8, 1, &e), 0);  /* a push */
    bump = false;
}

static int sloshing(double limb_r, bool both_phases, struct event *out) {
    static struct ripple p, q, in;
    struct condensate s = {0};
    int n = 0;
    p = (struct ripple){.n = 60, .rms = 0.3, .noise = 0.05, .hz = 5, .gain = 1};
    q = (struct ripple){.n = 60, .rms = 0.3 / fabs(limb_r), .noise = 0.001, .hz = 5, .gain = 1};
    in = (struct ripple){.n = 60, .rms = both_phases ? 0.15 : 0.05, .noise = 0.05, .hz = 5, .gain = 1};
    for (int k = 0; k < 60; k++) {
        p.y[k] = (float)sin(TWICE * 5 * k / 60);
        q.y[k] = limb_r > 0 ? p.y[k] : -p.y[k];
    }
    for (int i = 0; i < 30; i++) {
        struct seg_breath b = breath(i, 4);
        n += condensate_breath(&s, &b, &p, &q, &in, 1, out);
    }
    return n + condensate_cut(&s, out);
}

static void water(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(sloshing(10, true, &e), 1); /* gas pushed into a lung of 10 cmH2O s/L */
    assert_int_equal(e.id, EVENT_condensate);
    assert_true(fabs(value(&e, "ripple_cmh2o") - sqrt(0.3 * 0.3 - 0.05 * 0.05)) < 0.001);
    assert_int_equal(sloshing(-4, true, &e), 0);   /* the patient's: pressure follows through the limb */
    assert_int_equal(sloshing(-30, true, &e), 1);  /* more than any limb makes of it */
    assert_int_equal(sloshing(10, false, &e), 0);  /* in expiration alone: its valve */
}

static void episodes(void **state) {
    (void)state;
    static const struct episode_rule rule = {.of = 10, .open = 6, .close = 2, .least_ns = S(20)};
    struct episode e = {.n = 0};
    struct episode_end end;
    const double v[EPISODE_MEASURES] = {3, 0, 0};
    int told = 0;
    for (int i = 0; i < 500; i++) { /* from breath 20 to 419 of 4 s: 1600 s */
        if (!episode_breath(&e, &rule, S(4.0 * i), S(4.0 * i + 4), i >= 20 && i < 420, v, &end)) {
            continue;
        }
        assert_int_equal(end.start_ns, told == 0 ? S(80) : S(80 + 600 * told)); /* parts of ten minutes join */
        assert_true(fabs(end.mean[0] - 3) < 1e-9);
        told++;
    }
    assert_int_equal(told, 3);
    assert_int_equal(end.end_ns, S(1680));
    for (int i = 0; i < 40; i++) { /* five breaths of ten are too few */
        assert_false(episode_breath(&e, &rule, S(3000 + 4.0 * i), S(3004 + 4.0 * i), i % 2, v, &end));
    }
    assert_false(episode_cut(&e, &rule, &end));
}

static struct effort_curve curve;

static int64_t turn_ns;
/* n pushes of so many cmH2O and seconds each, one a 0.45 s, from 2 s on; with each the flow goes out. */
static int pushed(double cmh2o, double each_s, int n, double flow_l_s, struct cough_spike out[COUGH_SPIKES]) {
    curve = (struct effort_curve){.n = 400, .from_ns = 0, .step_s = 0.02, .pace = 1};
    for (int k = 0; k < curve.n; k++) {
        double at = (k * 0.02 - 2) / fmax(0.45, each_s), in = (at - floor(at)) * fmax(0.45, each_s);
        bool on = at >= 0 && at < n && in < each_s;
        curve.p[k] = on ? -cmh2o * sin(0.5 * TWICE * in / each_s) : 0;
        curve.q[k] = on ? -flow_l_s * sin(0.5 * TWICE * in / each_s) : 0;
    }
    const struct cough_in in = {.from_ns = 0, .turn_ns = turn_ns, .to_ns = S(8), .usual_out_l_s = 1.3, .flow_scale = 1};
    return cough_spikes(&curve, &in, out);
}

static void coughs(void **state) {
    (void)state;
    struct cough_spike x[COUGH_SPIKES];
    struct cough c = {.peaks = 0};
    struct event e;
    assert_int_equal(pushed(30, 0.16, 3, 1.5, x), 3);
    for (int i = 0; i < 3; i++) {
        assert_false(cough_spike(&c, &x[i], &e));
    }
    assert_false(cough_until(&c, S(4), &e));
    assert_true(cough_until(&c, S(8), &e));
    assert_int_equal(e.id, EVENT_cough);
    assert_true(e.confidence == CONF_DEFINITE && value(&e, "peaks") == 3);
    assert_true(llabs(e.start_ns - S(2)) < S(0.1) && llabs(e.end_ns - S(3.06)) < S(0.1));
    assert_true(fabs(value(&e, "push_cmh2o") - 30) < 1);
    assert_int_equal(pushed(30, 1.2, 3, 1.5, x), 0); /* muscles that push through an expiration */
    assert_int_equal(pushed(30, 0.16, 3, 0.1, x), 0); /* no gas moves: the model's */
    assert_int_equal(pushed(6, 0.16, 3, 0.5, x), 0);
    turn_ns = S(2);
    assert_int_equal(pushed(30, 0.16, 1, 1.5, x), 0); /* expiration begins there, and is as always */
    assert_int_equal(pushed(30, 0.16, 1, 2, x), 1);
    turn_ns = 0;
    for (int i = 0; i < 30; i++) { /* with each third breath, on and on */
        assert_int_equal(cough_is_habit(&c, i % 3 == 0), i > 9);
    }
    assert_int_equal(pushed(15, 0.16, 1, 0.3, x), 1);
    c.open = false;
    assert_false(cough_spike(&c, &x[0], &e)); /* one spike that is no gust is none */
    assert_false(cough_until(&c, INT64_MAX, &e));
}

/* Ordinary efforts of 0.7 s every 3 s, and jerks of this rise every `every` s. */
static int jerking(double rise_s, double long_s, double every_s, double pace, struct event *out) {
    struct hiccup h;
    bool opened;
    int n = 0;
    double next = 1;
    hiccup_init(&h);
    for (int i = 0; i < 60; i++) {
        struct effort usual = {.start_ns = S(3.0 * i), .peak_ns = S(3.0 * i + 0.7 * pace), .end_ns = S(3.0 * i + 0.9 * pace), .peak_cmh2o = 8};
        n += hiccup_effort(&h, &usual, pace, &opened, out);
        assert_false(usual.hiccup);
        if (3.0 * i < next || every_s <= 0) {
            continue;
        }
        next += every_s;
        double t = 3.0 * i + 1.7;
        struct effort e = {.start_ns = S(t), .peak_ns = S(t + rise_s), .end_ns = S(t + long_s), .peak_cmh2o = 12};
        n += hiccup_effort(&h, &e, pace, &opened, out);
    }
    return n + hiccup_until(&h, INT64_MAX, out);
}

static void hiccups(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(jerking(0.12, 0.4, 12, 1, &e), 1);
    assert_int_equal(e.id, EVENT_hiccup);
    assert_true(value(&e, "count") == 15 && fabs(value(&e, "rate_per_min") - 5) < 0.3 && value(&e, "bump_cmh2o") == 12);
    assert_true(llabs(e.start_ns - S(4.7)) < S(0.01));
    assert_int_equal(jerking(0.5, 0.7, 12, 1, &e), 0);     /* a short effort */
    assert_int_equal(jerking(0.12, 0.4, 100, 1, &e), 0);   /* two in three minutes */
    assert_int_equal(jerking(0.18, 0.45, 12, 0.5, &e), 0); /* an infant's breath is as short */
    assert_int_equal(jerking(0.08, 0.25, 12, 0.5, &e), 1);
}

static void leaks(void **state) {
    (void)state;
    static const double pct[] = {5, 12, 17, 30};
    for (int k = 0; k < 4; k++) {
        struct leak_watch w = {0};
        struct event e;
        int n = 0;
        for (int i = 0; i < 60; i++) {
            struct breath_row row = {.t0_ns = S(4.0 * i), .t2_ns = S(4.0 * i + 4)};
            row.v[COL_leak_pct] = i >= 20 && i < 40 ? pct[k] : 3;
            n += leak_breath(&w, &row, 0.5 * row.v[COL_leak_pct] / 100, &e);
        }
        assert_int_equal(n, k >= 2);
        if (n) {
            assert_true(e.id == EVENT_leak && e.start_ns == S(80) && e.end_ns == S(160));
            assert_true(fabs(value(&e, "leak_pct") - pct[k]) < 1e-3);
            assert_true(fabs(value(&e, "leak_l_min") - 0.5 * pct[k] / 100 * 15) < 1e-3); /* 15 breaths a minute */
            assert_int_equal(e.confidence, pct[k] > 20 ? CONF_DEFINITE : CONF_POSSIBLE);
        }
        assert_false(leak_cut(&w, &e));
    }
    struct leak_watch w = {0};
    struct event e;
    for (int i = 0; i < 15; i++) {
        struct breath_row row = {.t0_ns = S(4.0 * i), .t2_ns = S(4.0 * i + 4)};
        row.v[COL_leak_pct] = 50;
        assert_false(leak_breath(&w, &row, 0.2, &e));
    }
    assert_false(leak_watch_forget(&w, S(2), &e)); /* it was a catheter that drew */
    assert_false(leak_cut(&w, &e));
}

/* 100 breaths of 3 s; from 40 to 80 the balance is moved by -gas, from the start by -leak_before. */
static int nebulised(double gas_l_s, double leak_before_l_s, struct event *out) {
    struct nebulisation s = {0};
    int n = 0;
    for (int i = 0; i < 100; i++) {
        struct breath_row row = {.t0_ns = S(3.0 * i), .t2_ns = S(3.0 * i + 3)};
        double balance = leak_before_l_s * (i < 40) - gas_l_s * (i >= 40 && i < 80) + 0.004 * (i % 3 - 1);
        row.v[COL_vti_ml] = 500;
        row.v[COL_end_exp_flow_l_s] = -balance + 0.02;
        n += nebulisation_breath(&s, &row, 3 * balance, out);
    }
    return n + nebulisation_cut(&s, out);
}

static void gas_beside(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(nebulised(0.117, 0, &e), 1);
    assert_int_equal(e.id, EVENT_nebulisation);
    assert_true(fabs(value(&e, "added_l_min") - 7) < 0.3 && e.confidence == CONF_POSSIBLE);
    assert_true(llabs(e.start_ns - S(120)) <= S(3) && llabs(e.end_ns - S(240)) <= S(3));
    assert_int_equal(nebulised(0.03, 0, &e), 0);  /* a zero that moved a little */
    assert_int_equal(nebulised(0.3, 0, &e), 0);   /* more than any of them gives */
    assert_int_equal(nebulised(0.0, 0.1, &e), 0); /* a leak that is mended */
}

static double heart_l_s, heart_hz, bend_l_s;
static void beating(double t, double *p, double *q) { /* 1 s in, 3 s out */
    double at = fmod(t, 4);
    *p = 5;
    *q = at < 1 ? 0.5 : -0.8 * exp(-(at - 1) / 0.5) + bend_l_s * sin(TWICE * 1.3 * at);
    *q += heart_l_s / 2 * sin(TWICE * heart_hz * t);
}

static int beats(double l_s, double hz, double bend, struct event *out) {
    struct ring r;
    static struct cardiac c;
    struct noise z = {.q_sd_l_s = 0.002, .p_sd_cmh2o = 0.02};
    const struct breath_scale scale = breath_scale_of(PATIENT_ADULT);
    heart_l_s = l_s, heart_hz = hz, bend_l_s = bend;
    record(&r, 160, beating);
    cardiac_init(&c);
    int n = 0;
    for (int i = 0; i < 39; i++) {
        struct seg_breath b = breath(i, 4);
        b.i0 = (uint64_t)(i * 4 * RATE), b.i1 = b.i0 + (uint64_t)RATE, b.i2 = b.i0 + (uint64_t)(4 * RATE);
        struct cardiac_efforts w = {.departed_ns = b.t2_ns};
        n += cardiac_breath(&c, &r, &z, &b, &w, fmax(l_s, bend) / 2, &scale, out);
    }
    n += cardiac_cut(&c, out);
    ring_free(&r);
    return n;
}

static void heartbeats(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(beats(0.05, 1.4, 0, &e), 1); /* 3 L/min, 84 a minute: not a whole number in a breath */
    assert_int_equal(e.id, EVENT_cardiac_oscillation);
    assert_true(fabs(value(&e, "hr_per_min") - 84) < 3 && e.confidence == CONF_DEFINITE);
    assert_true(fabs(value(&e, "flow_l_min") - 3) < 0.6);
    assert_int_equal(beats(0.05, 1.9, 0, &e), 1);
    assert_true(fabs(value(&e, "hr_per_min") - 114) < 4);
    assert_int_equal(beats(0, 1, 0, &e), 0);
    assert_int_equal(beats(0, 1, 0.05, &e), 0); /* the same bend in each breath is the lung's */
    assert_int_equal(beats(0.3, 1.4, 0, &e), 0); /* 18 L/min are no heart's */
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(ripples),    cmocka_unit_test(sawtooth), cmocka_unit_test(water),
                                       cmocka_unit_test(episodes),   cmocka_unit_test(coughs),   cmocka_unit_test(hiccups),
                                       cmocka_unit_test(leaks),      cmocka_unit_test(gas_beside), cmocka_unit_test(heartbeats)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
