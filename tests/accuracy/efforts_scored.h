/* Efforts found against true ones (efforts.csv), one to one. A true one has to be found where its peak is at least 3 cmH2O and two
 * bumps of the heart, the bump being the heart's flow times what stands against it, from truth. Found: it starts within 0.3 s, or
 * overlaps the shorter of both by half. Not scored: the first 20 s, where nothing is known yet, and 3 s about an event. What
 * is found where nothing is within 1 s of it is false; only patients without any effort count it. */
#ifndef TIDEMARK_TESTS_ACCURACY_EFFORTS_SCORED_H
#define TIDEMARK_TESTS_ACCURACY_EFFORTS_SCORED_H

#include <stdbool.h>
#include <stdio.h>

#include "tests/accuracy/patients.h"
#include "tests/accuracy/stats.h"
#include "tests/accuracy/truth.h"

struct effort_found {
    double start_s, neural_end_s, peak_cmh2o, sd_cmh2o;
    bool definite;
    char known[12]; /* quality of the mechanics */
};

struct effort_true {
    double start_s, neural_end_s, peak_cmh2o;
    bool answered, scored;
};

/* One true effort that had to be found. */
struct effort_record {
    size_t patient;
    bool answered, hit;
    char known[12];              /* found ones */
    double start_off_s, end_off_s; /* found less true; NAN: not found */
    bool covered;                /* truth within 2 sd of the size */
};

struct efforts_scored {
    struct effort_record *v;
    size_t n, cap;
    struct {
        double hours;
        size_t possible, definite;
    } passive[STRATA]; /* patients without effort: false ones */
};

/* The rule of pairing: partner[i] is the index in found of true effort i, or MATCH_NONE; both in order of time. Each true one takes
 * the nearest that is free. used has n_found flags, all false before. */
void efforts_pair(const struct effort_true *t, size_t n, const struct effort_found *f, size_t n_found, size_t *partner, bool *used);

/* Adds a patient: efforts.csv and mechanics.csv of the truth's folder, `found` as efforts_of.h writes it. 0, or -1 with the reason
 * on stderr. */
int efforts_score(struct efforts_scored *s, const struct patient *p, const struct breaths *truth, const char *folder, const char *found);
void efforts_free(struct efforts_scored *s);

/* Sensitivity, times and coverage by lung, size, stratum, answer; false ones by stratum. */
void efforts_report(FILE *o, const struct efforts_scored *s, const struct patient *patients);

#endif
