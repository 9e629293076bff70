/* How far pressure passes, early in an inflation, what it settles at: for the pattern pressure_overshoot.
 *
 * Peak: the highest mean of 20 ms (two samples at least) in the first 0.3 s. Plateau: median of pressure over 40 to 80 % of
 * inspiration, later than the peak. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_OVERSHOOT_H
#define TIDEMARK_ANALYZE_OVERSHOOT_H

#include "analyze/breath/measure.h"

struct overshoot {
    double over_cmh2o, plateau_cmh2o; /* NAN: too short, or no machine's; the plateau as measured, not above PEEP */
    double plateau_s;                 /* how long the stretch is that it was read from */
    double foot_cmh2o;                /* pressure at the breath's start */
    double peak_flow_l_s;             /* flow there */
    int64_t at_ns;
};

void overshoot_read(const struct ring *r, const struct seg_breath *b, struct overshoot *out);

#endif
