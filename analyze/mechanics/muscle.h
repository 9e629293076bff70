/* What the estimated muscle pressure P(t) of one breath (effort.h) says beside its efforts, read once while its curve is there;
 * the patterns judge by it later. P is known up to a constant, so everything is a difference:
 *
 *   mid    mean over the middle half of inspiration, above the level from which the effort rose
 *   after  mean from 0.15 to 0.35 s after the inflation began, above 0.33 to 0.23 s before: an effort that fired the trigger still
 *          has most of its size to show there, a heartbeat that did has passed
 *   push   the deepest fall within 0.3 s in expiration, from where the curve was once the inspiration's effort was over, to a mean of
 *          0.15 s
 *
 * Uncertainty: E's over the volume between the two places, R's over the flow, and what the model leaves of passive breaths. Times
 * are an adult's, half of them in infants. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_MUSCLE_H
#define TIDEMARK_ANALYZE_MUSCLE_H

#include "analyze/mechanics/effort.h"

struct muscle {
    bool read; /* false: no mechanics, or the curve doesn't hold the breath: all else is unset */
    enum mechanics_quality quality;
    enum mechanics_source source;
    double heart_cmh2o;         /* the heart's bump in P */
    double mid_cmh2o, mid_sd;   /* NAN: inspiration too short, no rest before it */
    double after_cmh2o, after_sd;
    double push_cmh2o, push_s;  /* how far below, and for how long it lay below half of that; NAN */
    int64_t push_ns;            /* where that begins */
};

struct muscle_in {
    const struct effort_curve *curve;
    const struct effort_limits *lim;
    int64_t t0_ns, t1_ns, t2_ns;
    const struct effort *efforts; /* of this breath and of the one before that reach into it */
    int n;
};

void muscle_read(const struct muscle_in *in, struct muscle *out);

#endif
