/* Where an effort leaves the passive expiration before the next onset: a hinge in flow (inward) or in pressure
 * (down). Passive expiration bends the other way. */
#ifndef TIDEMARK_ANALYZE_DEPARTURE_H
#define TIDEMARK_ANALYZE_DEPARTURE_H

#include "analyze/breath/measure.h"

struct departure {
    bool seen;
    int64_t t_ns; /* its start; valid if seen */
};

void departure_find(const struct measure_ctx *x, const struct seg_breath *b, uint64_t end, struct departure *out);

/* Amplitude of the heart in flow about a parabola from 45 % of expiration to 0.25 s before its end; NAN if the
 * expiration is too short to tell. */
double departure_heart_l_s(const struct ring *r, const struct seg_breath *b);

#endif
