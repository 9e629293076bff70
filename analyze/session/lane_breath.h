/* What happens when the segmentation hands over a breath (internal to the lane). */
#ifndef TIDEMARK_ANALYZE_LANE_BREATH_H
#define TIDEMARK_ANALYZE_LANE_BREATH_H

#include "analyze/session/lane.h"

/* seg_breath_fn; user is the lane. */
int lane_breath(void *user, const struct seg_breath *b);

/* Enters a finished event: rows within or beside it are marked or dropped. */
void lane_event(struct lane *l, const struct event *e);

/* Enters the holds that are certain by now (all: that were seen at all). */
void lane_holds(struct lane *l, int64_t now_ns, bool all);

/* Rows of the 60 s after it carry after_suction: those that wait and those to come. */
void lane_suction_ended(struct lane *l, int64_t end_ns);

/* From the end of expired flow to until_ns, where the next breath starts or the run ends: an apnoea if that is 20 s. */
void lane_apnoea(struct lane *l, int64_t until_ns, const char *ended_by);

/* A breath: it ends a silence, and from where its expired flow ran out the next would count. */
void lane_breathed(struct lane *l, const struct seg_breath *b);

/* An event that has just been entered explains a silence from its start to its end, if it is such an event. */
void lane_silence_explained(struct lane *l, const struct event *e);

#endif
