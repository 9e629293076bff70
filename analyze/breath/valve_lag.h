/* Flow's lag behind pressure, from the machine's fall: what opens the expiratory side moves both at once, and through a
 * resistance flow follows pressure in shape, so that the times of half of either's fall part by the lag. Median over the last
 * 20 falls; known from 5 on. Needs no passive breath, unlike the fit over whole breaths (lag.h), which is the better one.
 * Common practice, no source. On simulated patients 3 ms short (5th to 95th percentile of patients 1 to 6); where flow is
 * limited it does not follow pressure, and the lag is told 5 to 25 ms short, which may leave none. */
#ifndef TIDEMARK_ANALYZE_VALVE_LAG_H
#define TIDEMARK_ANALYZE_VALVE_LAG_H

#include "analyze/breath/seg.h"

#define VALVE_LAG_KEPT 20

struct valve_lag {
    double kept_s[VALVE_LAG_KEPT];
    int n;        /* ever measured */
    double lag_s; /* 0: not known */
};

/* Offers a breath; one that a machine's fall did not end is passed over. `end`: ordinal after the last sample that may be used. */
void valve_lag_offer(struct valve_lag *g, const struct ring *r, const struct noise *z, const struct seg_breath *b, double flow_scale,
                     uint64_t end);

#endif
