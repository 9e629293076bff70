/* Ripple of a channel over a stretch of samples: what moves between 3 and 15 Hz, by a difference that is blind to slow
 * change:
 *
 *     y(t) = m(t) - (m(t - L) + m(t + L)) / 2,   m: means of one step of a grid of about 17 ms
 *
 * Its gain for a sine of frequency f is 1 - cos(2 pi f L), times the mean's sin(pi f s) / (pi f s); L is near 0.05 s, so that it
 * is greatest at 10 Hz. A straight line is taken off y: an exponential's bend is slow. Gain: closed form. */
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

/* Samples [from, to) of the ring; at most the first 3 s of them. */
void ripple_read(const struct ring *r, const struct noise *z, enum ripple_channel c, uint64_t from, uint64_t to, struct ripple *out);

/* rms of what is more than noise: the sensor's, or `least` where that is more; 0: none. */
double ripple_excess(const struct ripple *x, double least);

/* Correlation of two ripples of the same stretch, -1 to 1; 0: too few points. */
double ripple_together(const struct ripple *a, const struct ripple *b);

#endif
