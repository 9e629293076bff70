/* The patient's own breaths at a pressure that the machine holds (internal to the segmentation). */
#ifndef TIDEMARK_ANALYZE_SEG_OWN_H
#define TIDEMARK_ANALYZE_SEG_OWN_H

#include "analyze/breath/seg_turn.h"

/* Inside a machine's inspiration, at sample s->n: has gas gone out, or flow run out, and then enough come in again? At a
 * pressure that stands only a muscle does that. Then s->next is the candidate and *out says how the inspiration before
 * it ended. */
bool seg_own_breath(struct seg *s, double q_net, struct seg_turn *out);

#endif
