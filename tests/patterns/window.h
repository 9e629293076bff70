/* A window of breaths made by hand, for the tests of the patterns: rows, muscles, overshoots and efforts as the engine would hand
 * them over, each alike until a test says otherwise. Thresholds are read from the descriptors: their values are tuned elsewhere. */
#ifndef TIDEMARK_TESTS_PATTERNS_WINDOW_H
#define TIDEMARK_TESTS_PATTERNS_WINDOW_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/patterns/acts.h"

#define LENGTH_S 4.0 /* of a breath; its inflation lasts 1 s */
#define TI_S     1.0
#define HAIR_S   0.001 /* how far inside or outside of a threshold times are put, and sizes */
#define HAIR     0.01

struct made {
    struct breath_row row[2 * PATTERN_REACH + 1];
    struct breath_more more[2 * PATTERN_REACH + 1];
    struct expiration exp[2 * PATTERN_REACH + 1];
    struct muscle muscle[2 * PATTERN_REACH + 1];
    struct overshoot over[2 * PATTERN_REACH + 1];
    struct beat beat[2 * PATTERN_REACH + 1];
    struct effort effort[64];
    int n, own, n_efforts, nth;
    double time_scale, rate_hz;
    struct pattern_settings settings;
};

/* n breaths alike, of which the middle one is judged: 100 Hz, an adult, mechanics well known, no heart, no leak, no effort. */
void made_breaths(struct made *m, int n, enum breath_kind kind, enum breath_initiation initiation, enum breath_control control);
/* Start of breath k in seconds. */
double made_t0(int k);
void made_times(struct made *m, int k, double t0_s, double t1_s, double t2_s);
/* A sure effort from start_s to its neural end. */
struct effort *made_effort(struct made *m, double start_s, double neural_end_s, double peak_cmh2o);
/* The value of a parameter; there has to be such a one. */
double *made_param(struct made *m, enum pattern_id p, const char *name);
/* Judged once, with m->nth; a flag's evidence is held against the descriptor's list. */
struct pattern_verdict made_verdict(const struct made *m, enum pattern_id p);
enum confidence made_judged(const struct made *m, enum pattern_id p); /* which has to be judged */
enum reason made_unjudged(const struct made *m, enum pattern_id p);
/* The value of one evidence; the flag has to have it. */
double made_number(const struct pattern_verdict *v, const char *key);
const char *made_word(const struct pattern_verdict *v, const char *key);
/* Each key of the descriptor's list is there. */
void made_whole(const struct made *m, enum pattern_id p);

/* A window in which the pattern is a hair inside (side 1) or outside (side -1) of the parameter's threshold. */
typedef void made_put(struct made *m, double threshold, int side);
/* Holds at the parameter's lowest, own and highest value: inside there is a flag, outside there is none: it is absent, or
 * too small to be told. */
void made_edge(enum pattern_id p, const char *param, made_put *put);
/* The same, with what it is on either side. */
void made_edge_of(enum pattern_id p, const char *param, made_put *put, enum confidence inside, enum confidence outside);

/* Gap, event and unknown efforts are reasons; `scene` makes a window that is judged. */
void made_unfit(enum pattern_id p, void (*scene)(struct made *m));
/* All flags of one pattern that the judge of all patterns gives the breath. */
int made_flags(struct made *m, enum pattern_id p, struct pattern_verdict *out, int most);

#endif
