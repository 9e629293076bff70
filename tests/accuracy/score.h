/* Scoring: true breaths against found ones, one record for each, and sums over any part of the records. */
#ifndef TIDEMARK_TESTS_ACCURACY_SCORE_H
#define TIDEMARK_TESTS_ACCURACY_SCORE_H

#include "tests/accuracy/patients.h"
#include "tests/accuracy/stats.h"
#include "tests/accuracy/truth.h"

#define MATCH_WITHIN_S 0.3

enum outcome { HIT, MISS, EXTRA };

/* One breath's comparison: found less true. NAN: not to be compared. */
struct record {
    size_t patient;
    enum outcome outcome;
    double t_s;
    bool unassisted;
    char control[12]; /* the true one; of an extra breath what was found */
    double leak_pct;
    double onset_s, vti_pct, vte_pct, pip, peep, pmean, c_pct, r_pct, re_pct;
    double kind, initiation, control_same; /* 1 agrees, 0 does not */
    bool eligible, c_given;
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
};

const char *judged_event(size_t i); /* the names, 0..EVENT_NAMES-1 */

/* Adds the records of one patient. 0, or -1 out of memory. */
int score_patient(struct records *r, const struct patient *p, const struct breaths *truth, const struct breaths *found);
void records_free(struct records *r);

/* What a part of the records comes to. */
struct sum {
    size_t hit, miss, extra;
    struct numbers onset_machine, onset_unassisted, onset_heart; /* absolute errors, s */
    struct numbers vti, vte, pip, peep, pmean, c, r, re;
    struct numbers kind, initiation, control;
    size_t eligible, given;        /* eligible breaths, and those of them with a compliance */
    size_t c_all, c_wrong, r_all, r_wrong; /* all values given, and those off by over 20 % */
};

/* True for the records that belong to the part. */
typedef bool part_fn(const struct record *rec, const struct patient *p, long argument);

int sum_part(struct sum *s, const struct records *r, const struct patient *patients, part_fn *part, long argument);
void sum_free(struct sum *s);

#endif
