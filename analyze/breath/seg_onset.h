/* The candidates of an onset (internal to the segmentation). */
#ifndef TIDEMARK_ANALYZE_SEG_ONSET_H
#define TIDEMARK_ANALYZE_SEG_ONSET_H

#include "analyze/breath/seg.h"

enum onset { ONSET_NONE, ONSET_CONFIRMED };

/* Looks for, follows, refuses or confirms the candidate at sample s->n. `rise`: the cheap look said maybe. */
enum onset seg_onset(struct seg *s, uint64_t end, bool rise, double q_net);

/* Where flow turned inward before sample n: walk back, then to the zero crossing. */
void seg_walk_back(const struct seg *s, uint64_t n, uint64_t *at, int64_t *t_ns);

#endif
