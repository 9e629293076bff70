/* What the simulator wrote beside a recording, and what the tables say, as arrays to be compared. */
#ifndef TIDEMARK_TESTS_ACCURACY_TRUTH_H
#define TIDEMARK_TESTS_ACCURACY_TRUTH_H

#include <stdbool.h>
#include <stddef.h>

#include "tests/accuracy/patterns_scored.h"

/* One breath, true or found. NAN: not known, not given, or not to be scored. */
struct breath {
    double t0_s, t1_s, t2_s;
    char kind[16], initiation[12], control[12];
    double autopeep; /* true: total less airway PEEP at the breath's end */
    double vti_ml, vte_ml, pip, peep, pmean, c_ml_cmh2o, r_cmh2o_s_l, re_cmh2o_s_l, leak_pct;
    double power_j_min, wob_j_l, stress_index;
    double trigger_delay_s; /* true: from the start of the counting effort that it answers */
    /* true breaths only */
    bool counts;   /* scored: inspired volume that counts, whole, and inside no event */
    char why[12];  /* why not */
    bool passive;  /* mandatory, no effort */
    bool eligible; /* truth.md's rule: compliance is expected */
    bool plain;    /* one linear compartment */
    bool unequal;  /* several compartments */
    bool auto_triggered;
    int is[PATTERNS_SCORED]; /* true ones: 1, 0; -1 not scored */
    enum pattern_said said[PATTERNS_SCORED]; /* found ones */
    double efl_share, pmus_max_cmh2o;
    double leak_near_pct; /* from this breath and two on each side: one breath's difference also holds a change of
                           * lung volume */
};

struct event {
    char name[24];
    bool opening; /* true: the circuit is open to the room (a disconnection, open suction) */
    double from_s, to_s;
    char values[320]; /* name=value;... */
};

struct breaths {
    struct breath *v;
    size_t n;
    struct event *events;
    size_t n_events;
    bool heart;  /* truth: it moves gas */
};

/* Reads the truth in a folder that the simulator wrote (fixtures/sim/README.md). 0, or -1 with the reason on stderr. */
int truth_read(struct breaths *b, const char *folder);
/* Reads breaths.csv and events.csv of a folder. */
int found_read(struct breaths *b, const char *folder);
void breaths_free(struct breaths *b);

#endif
