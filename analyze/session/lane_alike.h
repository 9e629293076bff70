/* The lane's look-alikes: findings of their own (cardiac oscillation, secretions, condensate, leak, cough, hiccup, nebulisation), and
 * the mark each leaves on the rows that lie in it (internal to the lane). */
#ifndef TIDEMARK_ANALYZE_LANE_ALIKE_H
#define TIDEMARK_ANALYZE_LANE_ALIKE_H

#include "analyze/manoeuvres/cardiac_oscillation.h"
#include "analyze/manoeuvres/condensate.h"
#include "analyze/manoeuvres/cough.h"
#include "analyze/manoeuvres/hiccup.h"
#include "analyze/manoeuvres/leak.h"
#include "analyze/manoeuvres/nebulisation.h"
#include "analyze/manoeuvres/secretions.h"
#include "analyze/session/pending.h"

struct lane;

struct alike_watch {
    struct cardiac cardiac;
    struct secretions secretions;
    struct condensate condensate;
    struct leak_watch leak;
    struct nebulisation nebulisation;
    struct cough cough;
    struct hiccup hiccup;
    struct ripple a, b, c; /* scratch */
};

void lane_alike_init(struct alike_watch *a);
/* A breath that has closed, with its row; ordinary: complete, without gap or event. */
void lane_alike_breath(struct lane *l, const struct seg_breath *b, struct pending_row *p, bool ordinary);
/* A stretch without breaths began there, as is known now. */
void lane_alike_forget(struct lane *l, int64_t from_ns);
/* The curve of muscle pressure of breath b, valves not yet bridged; and an effort found in it. */
void lane_alike_curve(struct lane *l, const struct seg_breath *b);
void lane_alike_effort(struct lane *l, struct effort *e);
/* The samples break off. */
void lane_alike_cut(struct lane *l);

#endif
