/* Shared by story.c and story_marks.c; nobody else includes it. */
#ifndef TIDEMARK_SESSION_STORY_INTERNAL_H
#define TIDEMARK_SESSION_STORY_INTERNAL_H

#include "analyze/session/steps.h"
#include "analyze/session/story.h"

#define STORY_BREATHS (1 << 13) /* 70 minutes at 117 a minute; faster, and the windows before are shorter, which they say */
#define STORY_PENDING 64
#define STORY_TIMES   256
#define STORY_KINDS   16
#define STORY_MARKS   64
#define MINUTE_NS     (60 * NS_PER_S)

/* What is kept of a breath. */
struct story_breath {
    int64_t t0_ns, cycle_ns;
    uint8_t machine, judged, core_judged;
    uint8_t ineffective[2], core_events[2], core_ineffective[2];
};

struct story {
    struct burden_count scratch; /* tells what the last row's flags count for */
    struct story_breath breath[STORY_BREATHS]; /* breath i at i % STORY_BREATHS */
    uint64_t n_breaths;
    int64_t first_ns, last_ns; /* t0 of the first breath; end of the last */
    struct step_finder finder[SETTINGS];
    struct story_kinds { /* breaths of three in a row */
        int n;
        double kind[3];
        int64_t t0_ns[3];
    } kinds;
    struct story_before {
        uint64_t number;
        bool clock, complete;
        int64_t t0_ns;
        double peep;
    } before;
    struct story_step pending[STORY_PENDING]; /* whose after is not yet over */
    int n_pending;
    int64_t step_ns[STORY_TIMES]; /* the last steps, in order of time */
    int n_times;
    struct story_step kept[STORY_STEPS_KEPT];
    int n_kept;
    uint64_t n_steps;
    struct mark mark[STORY_MARKS]; /* that no row has reached */
    int n_marks;
    struct story_block block[STORY_BLOCKS];
    int n_blocks, open[STORY_KINDS], n_open; /* blocks that go on */
    int unsettled;                           /* the first block whose after is not yet over */
    uint64_t all_blocks;
};

/* Sums over [from, to) of what is still kept; from_ns is moved up to where that begins, and to the first and last breath. */
struct story_side story_sum(const struct story *s, int64_t from_ns, int64_t to_ns);

void story_marks_row(struct story *s, const struct breath_row *r);
void story_marks_flag(struct story *s, const struct flag *f);
void story_marks_end(struct story *s);

#endif
