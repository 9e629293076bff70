/* Recognisers of stretches, fed tick by tick: each with what it must tell and what merely looks
 * like it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "analyze/manoeuvres/disconnection.h"
#include "analyze/manoeuvres/one_way.h"
#include "analyze/manoeuvres/suction.h"
#include "analyze/manoeuvres/sustained_inflation.h"

#define TICK_NS INT64_C(50000000)

static const struct ordinary usual = {8, 22, 2.0, 3.0, 0.01, 1.0, 0.5, 10};

/* Volume control at PEEP 8: 1 s in, 2 s out. */
static struct tick breathing(int i) {
    double at = fmod(i * 0.05, 3.0);
    struct tick t = {i * TICK_NS, at < 1 ? 13 + 9 * at : 8,
                     at < 1 ? 0.5 : -1.0 * exp(-2 * (at - 1)), 0};
    t.q = t.q_net;
    return t;
}

/* Breathing, from tick 400 on p and q for n ticks, then breathing again. How many events; the last
 * in *out. */
static int disconnected(double p, double q, int n, struct ordinary o, struct event *out) {
    struct disconnection d;
    disconnection_init(&d);
    int events = 0;
    for (int i = 0; i < 1200; i++) {
        struct tick t = breathing(i);
        if (i >= 400 && i < 400 + n) {
            t.p = p;
            t.q_net = q;
        }
        events += disconnection_tick(&d, &t, &o, out);
    }
    return events;
}

static void open_circuit(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(disconnected(0.1, 0, 200, usual, &e), 1);
    assert_int_equal(e.id, EVENT_disconnection);
    assert_true(llabs(e.start_ns - 400 * TICK_NS) <= 2 * TICK_NS); /* a mean or two of 50 ms */
    assert_true(llabs(e.end_ns - 600 * TICK_NS) <= 2 * TICK_NS);
    assert_int_equal(disconnected(0.1, 0.6, 200, usual, &e),
                     1); /* the machine's gas into the room */
    assert_int_equal(disconnected(0.1, 0, 20, usual, &e),
                     0); /* 1 s: under the 2 s of the definition */
    assert_int_equal(disconnected(8, 0, 400, usual, &e), 0); /* apnoea: pressure stays at PEEP */
    struct ordinary zeep = usual;
    zeep.peep_cmh2o = 0;
    assert_int_equal(disconnected(0.1, 0, 200, zeep, &e), 0); /* PEEP set to 0 is left alone */
}

/* Drawn below the room's pressure, it comes back through zero: no opening does that. */
static void back_from_below(void **state) {
    (void)state;
    struct disconnection d;
    struct event e;
    int events = 0;
    disconnection_init(&d);
    for (int i = 0; i < 1200; i++) {
        struct tick t = breathing(i);
        if (i >= 400 && i < 500) { /* -10, up to -1, then slowly through zero */
            t.p = i < 420 ? -10 : (i < 465 ? -10 + 0.2 * (i - 420) : -1 + 0.04 * (i - 465));
            t.q_net = 0.02;
        }
        events += disconnection_tick(&d, &t, &usual, &e);
    }
    assert_int_equal(events, 0);
}

static void cut_while_open(void **state) {
    (void)state;
    struct disconnection d;
    struct event e;
    disconnection_init(&d);
    assert_false(disconnection_cut(&d, 0, &e));
    for (int i = 0; i < 600; i++) {
        struct tick t = breathing(i);
        if (i >= 400) {
            t.p = t.q_net = 0;
        }
        assert_false(disconnection_tick(&d, &t, &usual, &e));
    }
    assert_true(disconnection_cut(&d, 600 * TICK_NS, &e));
    assert_int_equal(e.end_ns, 600 * TICK_NS);
    assert_false(disconnection_cut(&d, 600 * TICK_NS, &e)); /* once */
}

static int sucked(double p, double q, int n, struct event *out) {
    struct suction s;
    suction_init(&s, 1);
    int events = 0;
    for (int i = 0; i < 1200; i++) {
        struct tick t = breathing(i);
        if (i >= 400 && i < 400 + n) {
            t.p = p;
            t.q_net = q;
        }
        events += suction_tick(&s, &t, &usual, out);
    }
    return events + suction_cut(&s, out);
}

static void closed_suction(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(sucked(-4, 0.3, 200, &e), 1); /* 10 s, 3 L drawn, 12 under PEEP */
    assert_int_equal(e.id, EVENT_suction);
    assert_true(llabs(e.start_ns - 400 * TICK_NS) <= NS_PER_S);
    assert_true(llabs(e.end_ns - 600 * TICK_NS) <= NS_PER_S);
    assert_int_equal(sucked(8, 0, 200, &e), 0);   /* apnoea */
    assert_int_equal(sucked(-4, 0.3, 20, &e), 0); /* a second: a deep effort */
    assert_int_equal(sucked(8, 0.3, 200, &e), 0); /* a leak: pressure is kept */
}

/* Somebody breathes 0.5 L on his own, 1.5 s in and 1.5 s out, through a limb of so much resistance. */
static struct tick own_breathing(int i, double level, double limb) {
    double q = 0.52 * sin(2 * 3.14159265358979 * fmod(i * 0.05, 3.0) / 3.0);
    return (struct tick){i * TICK_NS, level - limb * q, q, q};
}

/* PEEP is set to 0 and the patient breathes on: pressure follows flow, by Ohm's law. Through an open
 * end it does not. */
static void breathing_at_no_peep(void **state) {
    (void)state;
    for (int open = 0; open < 2; open++) {
        struct disconnection d;
        struct event e;
        disconnection_init(&d);
        int events = 0;
        for (int i = 0; i < 1200; i++) {
            struct tick t = i < 400   ? breathing(i)
                            : i < 800 ? own_breathing(i, 0, open ? 0.05 : 2)
                                      : breathing(i);
            events += disconnection_tick(&d, &t, &usual, &e);
        }
        assert_int_equal(events, open);
    }
}

/* 20 held: nothing moves; or somebody breathes there for `ticks`. */
static int inflated(int ticks, bool breathed, struct event *out) {
    struct sustained_inflation s;
    sustained_inflation_init(&s);
    int events = 0;
    for (int i = 0; i < 2400; i++) {
        struct tick t = breathing(i);
        if (i >= 400 && i < 400 + ticks) {
            t = breathed ? own_breathing(i, 20, 1) : (struct tick){i * TICK_NS, 20, 0, 0};
        }
        events += sustained_inflation_tick(&s, &t, &usual, out);
    }
    return events;
}

/* The contract: 8 s and more, no breath in it; with breaths it is a level that is held, unless as
 * long as a manoeuvre. */
static void breathing_at_an_upper_level(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(inflated(200, false, &e), 1);
    assert_int_equal(e.id, EVENT_sustained_inflation);
    assert_int_equal(inflated(200, true, &e), 0);
    assert_int_equal(inflated(600, true, &e), 1);
    assert_int_equal(inflated(1400, true, &e), 0);
}

/* Inward flow for 4.5 s: 0.5 L that fill a lung as pressure is raised, or a catheter that draws. */
static int drawn(double p, double q, struct event *out) {
    struct one_way w;
    one_way_init(&w, 1);
    int events = 0;
    for (int i = 0; i < 1200; i++) {
        struct tick t = breathing(i);
        if (i >= 420 && i < 510) {
            t.p = i < 430 ? 8 : p;
            t.q_net = q;
        }
        events += one_way_tick(&w, &t, &usual, out);
    }
    return events;
}

static void filling_is_no_suction(void **state) {
    (void)state;
    struct event e;
    assert_int_equal(drawn(18, 0.15, &e), 0);
    assert_int_equal(drawn(10, 0.4, &e), 1);
    assert_int_equal(e.id, EVENT_suction);
}

/* The same in a patient who doesn't breathe: the flow stands when the drawing is over. */
static void drawing_ends(void **state) {
    (void)state;
    const struct ordinary rest = {.peep_cmh2o = 8, .pip_cmh2o = 8, .te_s = (double)NAN, .period_s = 2.5, .machine_share = 1, .vt_l = 0.4};
    for (int small = 0; small < 2; small++) { /* and in an infant, a sixth of the flow */
        struct one_way w;
        struct event e;
        int events = 0;
        one_way_init(&w, small ? 0.15 : 1);
        for (int i = 0; i < 1200; i++) {
            struct tick t = {.t_ns = i * TICK_NS, .p = 8, .q_net = i >= 400 && i < 560 ? (small ? 0.03 : 0.2) : 0};
            events += one_way_tick(&w, &t, &rest, &e);
        }
        assert_int_equal(events, 1);
        assert_int_equal(e.id, EVENT_suction);
        assert_true(llabs(e.start_ns - 400 * TICK_NS) <= 2 * TICK_NS);
        assert_true(llabs(e.end_ns - 560 * TICK_NS) <= 2 * TICK_NS);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(open_circuit),
                                       cmocka_unit_test(cut_while_open),
                                       cmocka_unit_test(back_from_below),
                                       cmocka_unit_test(drawing_ends),
                                       cmocka_unit_test(closed_suction),
                                       cmocka_unit_test(breathing_at_no_peep),
                                       cmocka_unit_test(breathing_at_an_upper_level),
                                       cmocka_unit_test(filling_is_no_suction)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
