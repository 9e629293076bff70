/* Asynchrony in counts: the asynchrony index as published, the ineffective triggering index, stacked volume, asynchrony time.
 *
 *     index % = 100 events / (machine breaths + ineffective efforts)        Thille 2006, doi 10.1007/s00134-006-0301-8
 *
 * Events are flags (one breath may hold several ineffective efforts). Of an index over several patterns only machine breaths count
 * in which every one of them could be judged, with the flags in them: n judged of N stands beside it, and under half there is no
 * value. Unassisted breaths are no machine breaths. Names and columns: burden.def. Fixed memory. */
#ifndef TIDEMARK_SESSION_BURDEN_H
#define TIDEMARK_SESSION_BURDEN_H

#include "analyze/breath/row.h"

struct flag;

/* The published line: a split of one cohort of 62 patients (Thille 2006), with no relation to outcome in others. Printed as a
 * line, never as an alarm. */
#define BURDEN_LINE_PCT 10

/* A patient who hardly triggers has no ineffective triggering index: common practice, no source. */
#define BURDEN_TRIGGERED_LEAST 30

enum burden_set {
#define INDEX(id, ...) BURDEN_##id,
#include "analyze/session/burden.def"
#undef INDEX
    BURDEN_PATTERN, /* from here on: each pattern by itself, BURDEN_PATTERN + enum pattern_id */
    BURDEN_SETS = BURDEN_PATTERN + PATTERN_N
};

/* Which patterns are summed: bit p for pattern p. */
uint32_t burden_names(int set);
const char *burden_title(int set);   /* of the named indices; of a pattern its own */
const char *burden_meaning(int set);

enum { DEFINITE, WITH_POSSIBLE };

struct burden_index {
    uint64_t judged;         /* machine breaths in which all names could be judged */
    int64_t judged_ns;       /* their cycle times */
    uint64_t events[2];      /* flags in them: definite alone, and with possible */
    uint64_t ineffective[2]; /* ineffective efforts in them: a part of what it is per hundred of */
};

struct burden_count {
    uint64_t machine; /* machine breaths */
    struct burden_index set[BURDEN_SETS];
    uint64_t triggered; /* of machine breaths with ineffective_effort judged: those that the patient started */
    uint64_t stacked[2], stacked_unread[2]; /* double triggers in judged breaths; those of them without a volume */
    int64_t stacked_ul[2];
    int64_t timed_ns; /* machine breaths in which ineffective_effort, early and late cycling could be judged */
    int64_t delay_ns, cycling_ns, unanswered_ns;
    /* of the last row, whose flags follow */
    uint32_t last_sets;
    bool last_timed;
};

/* Each row, then its flags. Zeroed memory is a count of nothing. */
void burden_row(struct burden_count *c, const struct breath_row *r);
void burden_flag(struct burden_count *c, const struct flag *f);

bool burden_covered(const struct burden_count *c, int set); /* half of the machine breaths could be judged, and one at least */
/* Of the values NAN: not covered, or nothing to divide by. which: DEFINITE or WITH_POSSIBLE. */
double burden_index_pct(const struct burden_count *c, int set, int which);
double burden_events_per_h(const struct burden_count *c, int set, int which);
double burden_ineffective_index_pct(const struct burden_count *c, int which);
double burden_stacked_ml_h(const struct burden_count *c, int which);
double burden_time_pct(const struct burden_count *c);

/* A number of a flag's evidence; NAN: it has none of this name. */
double flag_number(const struct flag *f, const char *key);

enum burden_column {
#define BURDEN(id, ...) BURDEN_COLUMN_##id,
#include "analyze/session/burden.def"
#undef BURDEN
    BURDEN_COLUMNS
};
const char *burden_column_name(int column);
int burden_column_decimals(int column); /* -1: an integer */
double burden_hour(const struct burden_count *c, int column);

#endif
