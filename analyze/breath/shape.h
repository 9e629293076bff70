/* The shape of an inspiration, by which volume control is told from pressure control. */
#ifndef TIDEMARK_ANALYZE_SHAPE_H
#define TIDEMARK_ANALYZE_SHAPE_H

#include "analyze/breath/measure.h"

/* control_score: straight flow (the tubing's share added) and fast rise to it speak for controlled flow, still pressure for
 * controlled pressure; a sum with weights by logistic regression on simulated patients, within +-3 (shape.c). NAN where the phase
 * is too short. Over 0: flow was controlled. */
void shape_of(const struct measure_ctx *x, const struct seg_breath *b, struct breath_more *more);

#endif
