/* Is a recording plausible: what the samples themselves say about rate, holes, clipped or stuck channels, and a sign or
 * unit that looks wrong. Nothing is corrected. Bounded memory; results do not depend on how samples are cut into blocks.
 *
 * Thresholds are common practice, no source; the plausible ranges are those of adults to infants on a ventilator. */
#ifndef TIDEMARK_SESSION_CHECK_H
#define TIDEMARK_SESSION_CHECK_H

#include "ingest/sample.h"

#define CHECK_STUCK_S    10.0 /* a channel that does not move for so long is stuck */
#define CHECK_CLIP_RUN   3    /* equal samples at the extreme that make a clipped run */

struct check_channel {
    uint64_t n, missing;   /* samples with and without a value */
    double min, max;       /* NAN: no value */
    double abs50, abs99;   /* quantiles of the magnitude, to 6 %; NAN: no value */
    double step;           /* smallest difference between neighbours that is not 0: the resolution; NAN: never moved */
    uint64_t at_min, at_max; /* samples in runs of CHECK_CLIP_RUN or more at the extreme */
    double stuck_s;        /* the longest stretch without any change */
    int64_t stuck_at_ns;   /* its start; -1: none */
};

enum check_finding {
    CHECK_CLIPPED,        /* channel: many samples at one extreme */
    CHECK_STUCK,          /* channel: no change for CHECK_STUCK_S */
    CHECK_SIGN,           /* flow and pressure move against each other at the machine's steps */
    CHECK_UNIT_PRESSURE,  /* pressure far beyond, or far below, what an airway holds */
    CHECK_UNIT_FLOW,
    CHECK_JITTER,         /* steps of time vary: not wrong, each sample has its own time */
    CHECK_GAPS,
    CHECK_MISSING,        /* empty values */
    CHECK_FLAT,           /* channel: no change at all */
    CHECK_NO_RETURN       /* inspired and expired volume part by more than a third: leak, offset or one-way flow */
};

struct check_note {
    enum check_finding what;
    enum channel channel;  /* CH_N: none in particular */
    char text[200];        /* one line, ASCII, without full stop */
    char mend[120];        /* what would help, or "" */
};

#define CHECK_NOTES_MAX 24

struct check_report {
    uint64_t samples;
    int64_t last_ns;
    double step_median_s, step_min_s, step_max_s; /* of steps that are no holes; NAN: under 2 samples */
    double jitter;        /* share of steps that part from the median by over a tenth of it */
    uint64_t holes;
    double hole_s, longest_hole_s;
    int64_t longest_hole_at_ns;
    uint64_t marks;
    double inspired_l, expired_l; /* integrals of inward and outward flow */
    uint64_t steps_same, steps_opposite; /* jumps of pressure and flow together, or against each other */
    struct check_channel channel[CH_N];
    int n_notes;
    struct check_note note[CHECK_NOTES_MAX];
};

struct check;

/* info is borrowed and read at each call. */
int check_new(struct check **out, const struct recording_info *info) MUST_USE;
void check_item(struct check *c, const struct item *it);
void check_end(struct check *c, struct check_report *r);
void check_destroy(struct check *c); /* NULL is legal */

/* A code that resembles a name, a date or a record number: two words with capitals, six or more digits in a row, or digits
 * parted like a date. */
bool check_name_like(const char *code);

#endif
