/* Consecutive passive breaths that are alike share their constants: the heart and noise move each fit by several per cent, the
 * lung hardly changes between them. Medians over this breath and up to seven alike before it (with the heart's phase fits scatter
 * one-sidedly: a mean is off by several per cent), and how far they may be off. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_POOL_H
#define TIDEMARK_ANALYZE_POOL_H

#include "analyze/mechanics/motion.h"

#define POOL_KEPT 8

enum pool_part { POOL_E, POOL_RI, POOL_RE, POOL_PARTS }; /* chords, for the resistances */

struct pool_breath {
    int64_t t0_ns;
    double ti_s, vt_l, span_cmh2o; /* peak pressure above the level it began from */
    double log_of[POOL_PARTS], se[POOL_PARTS];
};

struct pool {
    struct pool_breath kept[POOL_KEPT];
    uint64_t n;
};

struct pool_mean {
    double value[POOL_PARTS];
    double sd[POOL_PARTS]; /* of the value, relative */
    int n;
};

/* Enters a believable fit (b->log_of and se are filled here) and gives the medians. A breath whose constants lie apart from the
 * others' starts anew: the lung changed. */
void pool_enter(struct pool *p, struct pool_breath b, const struct motion_fit *f, struct pool_mean *out);
/* Elastance of the last POOL_KEPT, cmH2O/L; NAN under five. */
double pool_elastance(const struct pool *p);

#endif
