/* The machine's fall, which starts expiration (internal to the segmentation). Thresholds: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_SEG_FALL_H
#define TIDEMARK_ANALYZE_SEG_FALL_H

#include "analyze/breath/seg.h"

/* Within an inspiration, about sample s->n: the joint fall of pressure and flow; where the machine gave evenly, also if the
 * patient draws on; after a pause that is too short to see flow stand, the second fall. e: where it begins. */
bool seg_fall(const struct seg *s, uint64_t end, struct elbow *e);

/* After the turn of an inflation: flow turned while the machine held its pressure (a patient who breathes out at an upper
 * level, a muscle that pushes), and the expiratory side opens only now: expiration starts here. */
bool seg_release(const struct seg *s, uint64_t end, struct elbow *e);

#endif
