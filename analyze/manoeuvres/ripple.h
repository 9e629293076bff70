/* Ripple of a channel over a stretch of samples: what moves faster than breath, by a difference that is blind to slow
 * change:
 *
 *     y(t) = m(t) - (m(t - L) + m(t + L)) / 2,   m: means of one step of a grid of about 17 ms
 *
 * Its gain for a sine of frequency f is 1 - cos(2 pi f L), times the mean's sin(pi f s) / (pi f s); it is greatest where
 * L is half a period: 0.05 s for 4 to 15 Hz, 0.08 s for 2 to 9 Hz. A straight line is taken off y: an exponential's bend is slow. Gain: closed form. */
#ifndef TIDEMARK_ANALYZE_RIPPLE_H
#define TIDEMARK_ANALYZE_RIPPLE_H

#include "analyze/breath/noise.h"

#define RIPPLE_POINTS 192

enum ripple_channel { RIPPLE_PRESSURE, RIPPLE_FLOW };

struct ripple {
    int n;          /* points read; 0: the stretch is too short, and all else is unset */
    double rms;     /* of y, in the channel's unit */
    double noise;   /* what white noise of the sensor alone would make of it */
    int crossings;  /* of y through 0 */
    double hz;      /* half of them a second */
    double gain;    /* of a sine of that frequency: rms / gain is its own */
    float y[RIPPLE_POINTS];
};

/* Samples [from, to) of the ring; at most the first 3 s of them. back_s: L. */
void ripple_read(const struct ring *r, const struct noise *z, enum ripple_channel c, double back_s, uint64_t from, uint64_t to,
                 struct ripple *out);

/* rms of what is more than noise: the sensor's, or `least` where that is more; 0: none. */
double ripple_excess(const struct ripple *x, double least);

/* Median of its size as a share of its rms: 1 for a sine, 0.67 for noise, little where a single bump makes it. */
double ripple_lasting(const struct ripple *x);

/* Correlation of two ripples of the same stretch, -1 to 1; 0: too few points. */
double ripple_together(const struct ripple *a, const struct ripple *b);

#endif
