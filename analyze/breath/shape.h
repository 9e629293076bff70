/* The shape of an inspiration, by which volume control is told from pressure control. */
#ifndef TIDEMARK_ANALYZE_SHAPE_H
#define TIDEMARK_ANALYZE_SHAPE_H

#include "analyze/breath/measure.h"

/* control_score = ln(f/0.022) + 0.7 ln(0.035/l), f the sd of pressure over its mean above PEEP, from 30 % (at least
 * 0.25 s) to 94 % of the inspired flow; l the largest departure of flow from a straight line over 20 to 94 %, as a
 * share of its peak; within +-1.5; less 1.5 ln(t/0.12 s) where flow takes t, longer than 0.12 s, to its first 85 %. NAN where
 * the phase is too short. Over 0: flow was controlled. */
void shape_of(const struct measure_ctx *x, const struct seg_breath *b, struct breath_more *more);

#endif
