/* Extremes of a phase that neither noise nor a single spike makes. */
#ifndef TIDEMARK_ANALYZE_PEAKS_H
#define TIDEMARK_ANALYZE_PEAKS_H

#include "analyze/breath/ring.h"

/* Highest pressure over [from, to], cmH2O: the larger of the median-of-3 maximum and the vertex of a parabola
 * through the five samples about it (median-of-3 alone cuts 1 cmH2O off a 40 ms overshoot). */
double peak_pressure(const struct ring *r, uint64_t from, uint64_t to);

/* Largest median-of-3 flow over [from, to] in the sign's direction, L/s, positive. */
double peak_flow(const struct ring *r, uint64_t from, uint64_t to, double sign);

#endif
