/* Cardiac oscillation: the heart moves gas where nothing else does. Looked for every 20 s in what lies quiet of the last 30 s: the later
 * part of each expiration, 40 ms means of flow (20 ms in infants) less a parabola, less what all of these expirations have
 * in common (a bend of the lung repeats with the breath, the heart doesn't). Their correlation with themselves, over the
 * pauses between, has to rise at multiples of one period and to fall half way between:
 *
 *     score(T) = (mean over k of c(k T) - mean over k of c((k - 1/2) T)) / 2,   k T up to 6 s
 *
 * 1 for a sine, 0 for noise. From 0.5 on it is the heart, its rate 60 / T; 40 to 180 a minute, infants 60 to 240. Asked only where
 * the ripple of the last expirations is over 0.7 L/min from peak to peak (by the patient's size) and over the noise. Score: common
 * practice, no source. Sizes of 1 to 5 L/min: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_CARDIAC_OSCILLATION_H
#define TIDEMARK_ANALYZE_CARDIAC_OSCILLATION_H

#include "analyze/breath/noise.h"
#include "analyze/mechanics/effort.h"

#define CARDIAC_QUIETS 64
#define CARDIAC_POINTS 1536

struct cardiac {
    struct {
        uint64_t from, to;
    } quiet[CARDIAC_QUIETS]; /* the newest at (n - 1) % CARDIAC_QUIETS */
    uint64_t n;
    int64_t looked_ns;
    bool open;
    int misses;
    double last_hr;   /* of the look before, while none is open; 0: none */
    int64_t first_ns; /* since when that one looked */
    int64_t start_ns, end_ns;
    double sum_hr, sum_flow, sum_score;
    int hits, rates;  /* rates: of those, looks whose period is true */
    bool rate_known;
    double hr_per_min, flow_l_s; /* of the last look that found it: while open; flow from peak to peak */
    float x[CARDIAC_POINTS];
};

void cardiac_init(struct cardiac *c);
/* When muscles were at work: efforts in order of their peaks; and where the breath's expiration was left, or its t2. */
struct cardiac_efforts {
    const struct effort *effort;
    int n;
    int64_t departed_ns;
};

/* A breath; a_heart_l_s: amplitude of what ripples late in expirations. True: *out tells of an episode that has ended, or of ten
 * minutes of one. */
bool cardiac_breath(struct cardiac *c, const struct ring *r, const struct noise *z, const struct seg_breath *b, const struct cardiac_efforts *w, double a_heart_l_s,
                    const struct breath_scale *scale, struct event *out);
bool cardiac_cut(struct cardiac *c, struct event *out);

#endif
