#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static int sample(void *user, double t_s, double p, double q) {
    struct run *r = user;
    assert_true(r->n < RUN_SAMPLES);
    r->t_s[r->n] = t_s;
    r->p[r->n] = p;
    r->q[r->n++] = q;
    return TM_OK;
}

static int gap(void *user, double from_s, double to_s, const char *reason) {
    struct run *r = user;
    r->gaps += reason[0] != '\0';
    r->gap_from_s = from_s;
    r->gap_to_s = to_s;
    return TM_OK;
}

struct run *run_script(const char *text) {
    struct run *r = calloc(1, sizeof *r);
    struct err e = {.what = ""};
    assert_non_null(r);
    struct sim_sink sink = {r, sample, gap, NULL};
    script_init(&r->script);
    int rc = script_text(&r->script, text, "test", &e);
    assert_string_equal(e.what, "");
    assert_int_equal(rc, TM_OK);
    assert_int_equal(sim_init(&r->sim, &r->script, &sink, &e), TM_OK);
    assert_int_equal(sim_run(&r->sim), TM_OK);
    return r;
}

void run_free(struct run *r) {
    sim_free(&r->sim);
    script_free(&r->script);
    free(r);
}

const struct true_breath *run_last(const struct run *r) {
    const struct truth *t = &r->sim.truth;
    size_t i = t->n_breaths;
    while (i > 0 && t->breaths[i - 1].t2 < 0) {
        i--;
    }
    assert_true(i > 0);
    return &t->breaths[i - 1];
}

const struct true_event *run_event(const struct run *r, const char *name, size_t i) {
    const struct truth *t = &r->sim.truth;
    for (size_t k = 0; k < t->n_events; k++) {
        if (strcmp(t->events[k].name, name) == 0 && i-- == 0) {
            return &t->events[k];
        }
    }
    return NULL;
}

double run_value(const struct true_event *e, const char *key) {
    size_t n = strlen(key);
    for (const char *p = e->values; *p;) {
        if (strncmp(p, key, n) == 0 && p[n] == '=') {
            return strtod(p + n + 1, NULL);
        }
        p += strcspn(p, ";");
        p += *p == ';';
    }
    return NAN;
}

size_t run_count(const struct run *r, const char *kind) {
    size_t n = 0;
    for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
        n += strcmp(r->sim.truth.breaths[i].kind, kind) == 0;
    }
    return n;
}
