/* How noisy the two channels are, from second differences: sd = median |d2| / (0.6745 sqrt 6), which a
 * straight line and slow curvature leave alone (mechanics of the median absolute deviation; common practice).
 * Windows are counted in values taken, so that results never depend on how samples arrive: the first is
 * about 1 s, then about 10 s each. Floors: quantum / sqrt 12, 0.02 cmH2O, 0.002 L/s. */
#ifndef TIDEMARK_ANALYZE_NOISE_H
#define TIDEMARK_ANALYZE_NOISE_H

#include "analyze/breath/ring.h"

#define NOISE_TAKEN 96

struct noise {
    double q_sd_l_s;   /* sd of a single flow sample */
    double p_sd_cmh2o; /* sd of a single pressure sample */
    double q_quantum;  /* smallest non-zero step seen */
    double p_quantum;
    double floor_q_l_s;
    float q_d2[NOISE_TAKEN], p_d2[NOISE_TAKEN];
    int n, full;     /* values in the window so far, and at its end */
    uint64_t next;   /* ordinal of the next sample to take */
    uint64_t stride; /* samples between two taken */
    uint64_t later_stride;
};

void noise_init(struct noise *z, double rate_hz, double flow_scale);

/* After each ring_push; cheap: most samples are not taken. */
void noise_follow_taken(struct noise *z, const struct ring *r);
static inline void noise_follow(struct noise *z, const struct ring *r)
{
    if (r->end >= z->next)
        noise_follow_taken(z, r);
}

#endif
