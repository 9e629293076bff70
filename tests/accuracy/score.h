/* Scoring: true breaths against found ones, one record for each, and sums over any part of the records. */
#ifndef TIDEMARK_TESTS_ACCURACY_SCORE_H
#define TIDEMARK_TESTS_ACCURACY_SCORE_H

#include "tests/accuracy/efforts_scored.h"
#include "tests/accuracy/holds.h"
#include "tests/accuracy/patients.h"
#include "tests/accuracy/stats.h"
#include "tests/accuracy/truth.h"

#define MATCH_WITHIN_S 0.3

enum outcome { HIT, MISS, EXTRA };

/* What is compared, found less true; volumes in % of the true inspired volume. LEAK5: mean of five breaths running. */
enum figure { F_ONSET_S, F_VTI_PCT, F_VTE_PCT, F_PIP, F_PEEP, F_PMEAN, F_C_PCT, F_RI_PCT, F_RE_PCT, F_LEAK5, F_AUTOPEEP, F_POWER_PCT, F_WOB, F_N };
/* Words: 1 agrees, 0 does not; NAN: not to be compared, or (initiation) not given. */
enum verdict { W_KIND, W_INITIATION, W_CONTROL, W_N };

struct record {
    size_t patient; /* index */
    enum outcome outcome;
    double t_s, leak_pct, efl_share;
    bool unassisted, false_trigger, plain, unequal, passive;
    char control[12], kind[16], found_kind[16]; /* of an extra breath what was found */
    double f[F_N], w[W_N];
    int is[PATTERNS_SCORED];
    enum pattern_said said[PATTERNS_SCORED];
    int is_raw[PATTERNS_SCORED];             /* before either name is accepted */
    enum pattern_said said_raw[PATTERNS_SCORED]; /* of an extra breath too */
    bool eligible, c_given, r_given, initiation_given, auto_given, auto_known;
    double stress_true, stress; /* NAN: undefined; not given */
    double delay_true_s, delay_s;
};

/* The events that are no breathing: the only ones judged here. */
#define EVENT_NAMES 6
struct event_count {
    size_t truly, found; /* of those that are true */
    size_t extra;        /* said where nothing of the kind is, within 1 s */
    size_t breaths;      /* found inside a true one, where there is none */
};

struct records {
    struct record *v;
    size_t n, cap;
    struct event_count events[EVENT_NAMES];
    double quiet_seconds; /* of quiet recordings */
    struct holds holds;
    struct efforts_scored efforts;
};

const char *judged_event(size_t i); /* the names, 0..EVENT_NAMES-1 */

/* Adds the records of one patient. 0, or -1 out of memory. In a quiet recording every found breath that no true one
 * answers is extra, event or not. */
int score_patient(struct records *r, const struct patient *p, const struct breaths *truth, const struct breaths *found);
void records_free(struct records *r);

/* What a part of the records comes to. */
struct sum {
    size_t hit, miss, extra;
    struct numbers onset_machine, onset_unassisted, onset_heart; /* absolute errors, s */
    struct numbers f[F_N], w[W_N];
    size_t eligible, c_given, r_given;     /* eligible breaths, and those of them with a value */
    struct numbers c_passive, ri_passive, re_passive; /* errors of the eligible ones, % */
    size_t c_all, c_wrong, r_all, r_wrong; /* all values given, and those off by over 20 % */
    size_t initiation_given, initiation_of;
    struct pattern_count pattern[PATTERNS_SCORED];
    size_t auto_given, auto_of; /* breaths whose auto-PEEP truth knows */
};

/* True for the records that belong to the part. */
typedef bool part_fn(const struct record *rec, const struct patient *p, const void *argument);

int sum_part(struct sum *s, const struct records *r, const struct patient *patients, part_fn *part, const void *argument);
void sum_free(struct sum *s);

/* Share of s that lies within +- limit, in %; NAN of none. */
double within_pct(const struct numbers *s, double limit);

#endif
