#include "analyze/breath/seg_base.h"

#include <math.h>

#define RENEW_NS       (15 * NS_PER_S)
#define HIDES          2.0
#define CROSSED_LEAST  6
#define KEPT           0.6
#define PEEP_LEAST     2.0 /* cmH2O */

void seg_renew_base(struct seg *s)
{
    const struct ring *r = s->ring;
    int64_t now_ns = ring_at(r, s->n)->t_ns, since_ns = ring_at(r, ring_first(r))->t_ns;
    if (since_ns < s->renewed_ns)
        since_ns = s->renewed_ns;
    if (s->state == SEG_EXP && since_ns < s->open.t1_ns)
        since_ns = s->open.t1_ns;
    if (now_ns - since_ns < RENEW_NS)
        return;
    s->renewed_ns = now_ns;
    uint64_t from = ring_find(r, ring_first(r), s->n, now_ns - RENEW_NS), k = ring_count(r, 0.1), n = 0;
    double root = 0, base = 0, mean = ring_q_mean(r, from, s->n);
    bool above = false;
    int crossed = 0;
    uint64_t kept = 0;
    for (uint64_t i = from; i + k <= s->n; i += k, n++) {
        double p = ring_p_mean(r, i, i + k);
        root += sqrt(larger(0, p));
        kept += p > KEPT * s->peep;
        base += base_flow_at(&s->base, p);
        double off = ring_q_mean(r, i, i + k) - mean;
        crossed += (off > HIDES * s->q_hi && !above) || (off < -HIDES * s->q_hi && above);
        above = off > HIDES * s->q_hi || (above && off > -HIDES * s->q_hi);
    }
    if (kept * 10 < n * 9 || s->peep < PEEP_LEAST) /* open to the room, or that can't be told */
        return;
    if (crossed >= CROSSED_LEAST && fabs(mean * (double)n - base) > HIDES * s->q_hi * (double)n)
        base_flow_renew(&s->base, mean, root / (double)n);
}
