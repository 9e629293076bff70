/* Expirations read for the patterns, two breaths late: where an expiration ends is known when the effort that ends it is. */
#ifndef TIDEMARK_ANALYZE_LANE_PATTERNS_H
#define TIDEMARK_ANALYZE_LANE_PATTERNS_H

#include "analyze/mechanics/effort.h"
#include "analyze/breath/seg.h"

struct lane;

/* Breath b has its efforts (n may be 0): the expiration before it is read, and b's own waits. */
void lane_expiration(struct lane *l, const struct seg_breath *b, const struct mechanics *m, const struct effort *found, int n);
/* The run ends: what waits is read. */
void lane_expiration_cut(struct lane *l);

#endif
