/* The heartbeat before a breath: how long before its start flow last rose with the heart. Where beats fire the trigger that is the
 * same time in every breath; efforts come at any time between two beats.
 *
 * Flow against its mean a quarter of a second before and after (a band about 2 Hz), in the last 1.3 s of expiration: the last
 * maximum that is over 0.6 of the highest. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_BEAT_H
#define TIDEMARK_ANALYZE_BEAT_H

#include "analyze/breath/seg.h"

struct beat {
    double before_s; /* from that maximum to t0; NAN: none to be seen */
    double size_l_s;
};

/* from_ns: what comes before is no rest (start of the expiration); flow_l_s: the least size. */
void beat_before(const struct ring *r, int64_t from_ns, const struct seg_breath *b, double flow_l_s, struct beat *out);

#endif
