/* Flow's lag behind pressure (sensor, filter, inertance: 5 to 20 ms): the shift that makes the equation of
 * motion fit best over all samples, valve steps included (they carry the information). Median over the last 20
 * breaths that look passive; used from 5 on. Common practice, no source; sd about 4 ms a breath at 100 Hz. */
#ifndef TIDEMARK_ANALYZE_LAG_H
#define TIDEMARK_ANALYZE_LAG_H

#include "analyze/breath/ring.h"
#include "analyze/mechanics/motion.h"

#define LAG_KEPT  20
#define LAG_TRIES 9

struct lag {
    double misfit[LAG_TRIES]; /* summed over breaths, each in units of its least */
    int n;          /* ever measured */
    uint64_t seen;  /* breaths offered */
    double lag_s;   /* in use; 0 until 5 are known */
};

/* Copies the breath's samples, flow and volume taken lag_s later; volume by drift_l_s less a straight drift. */
void lag_gather(const struct ring *r, uint64_t i0, uint64_t i1, uint64_t i2, double lag_s, double drift_l_s,
                struct motion_samples *out);

/* Offers a breath that looks passive: measures it if its turn has come (the first 20, then one in 40).
 * e_cmh2o_l: elastance if known, else NAN. */
void lag_offer(struct lag *g, const struct ring *r, uint64_t i0, uint64_t i1, uint64_t i2, double drift_l_s,
               double e_cmh2o_l, struct motion_samples *scratch, double *work);

#endif
