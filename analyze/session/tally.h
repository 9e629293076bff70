/* The whole recording in counts and medians: for summary.json and the night at a glance. Bounded memory. */
#ifndef TIDEMARK_SESSION_TALLY_H
#define TIDEMARK_SESSION_TALLY_H

#include "analyze/breath/row.h"
#include "analyze/session/burden.h"
#include "analyze/session/clusters.h"
#include "analyze/session/interval.h"
#include "analyze/session/story.h"
#include "analyze/session/targets.h"

#define TALLY_EVENT_TIMES 3 /* of each event the first few starts are kept */

struct tally_events {
    uint64_t n, definite;
    int64_t start_ns[TALLY_EVENT_TIMES];
    int64_t total_ns; /* sum of durations */
};

struct tally {
    struct story *story;
    uint64_t breaths, complete, usable;
    uint64_t kind[KIND_MANUAL + 1];
    uint64_t initiation[INIT_MACHINE + 1];
    uint64_t control[CONTROL_NONE + 1];
    uint64_t quality[WHY_N];         /* breaths that have the code in `quality` */
    int64_t usable_ns;
    uint64_t definite[PATTERN_N], possible[PATTERN_N], judged[PATTERN_N]; /* breaths */
    struct tally_events event[EVENT_N];
    struct median *median[COL_N];    /* NULL: the column has none (analyze/tables/median.h); over usable breaths */
    struct targets targets;
    struct burden_count burden;
    struct interval interval;        /* of the core index */
    struct clusters clusters[2];     /* of definite ineffective efforts, and with possible ones */
};

int tally_init(struct tally *t) MUST_USE;
void tally_breath(struct tally *t, const struct breath_row *r);
void tally_flag(struct tally *t, const struct flag *f); /* each directly after its row */
void tally_mark(struct tally *t, const struct mark *m);
void tally_end(struct tally *t); /* after the last row, flag and mark */
void tally_event(struct tally *t, const struct event *e);
void tally_release(struct tally *t); /* legal after a failed tally_init */

#endif
