#include "analyze/breath/beat.h"

#define SPAN_S   1.25
#define ARM_S    0.25
#define GRID_S   0.02
#define MEAN_S   0.04
#define GUARD_S  0.02
#define POINTS   64
#define LAST_OF  0.6
#define SETTLE_S 0.2

void beat_before(const struct ring *r, int64_t from_ns, const struct seg_breath *b, double flow_l_s, struct beat *out)
{
    *out = (struct beat){.before_s = (double)NAN};
    uint64_t grid = ring_count(r, GRID_S), arm = ring_count(r, ARM_S), mean = ring_count(r, MEAN_S), span = ring_count(r, SPAN_S);
    uint64_t end = b->i0 - arm - ring_count(r, GUARD_S) - mean;
    int64_t rest_ns = b->t0_ns - (int64_t)((SPAN_S + ARM_S + SETTLE_S) * 1e9);
    if (rest_ns < from_ns || b->i0 < ring_first(r) + span + arm + mean)
        return;
    double h[POINTS], top = 0;
    int n = 0;
    for (uint64_t i = b->i0 - span; i < end && n < POINTS; i += grid) {
        double q = ring_q_mean(r, i, i + mean), sides = ring_q_mean(r, i - arm, i - arm + mean) + ring_q_mean(r, i + arm, i + arm + mean);
        h[n] = q - 0.5 * sides;
        top = h[n] > top ? h[n] : top;
        n++;
    }
    if (top < flow_l_s)
        return;
    for (int k = n - 2; k > 0; k--)
        if (h[k] > LAST_OF * top && h[k] >= h[k - 1] && h[k] > h[k + 1]) {
            out->before_s = (double)(b->t0_ns - ring_at(r, b->i0 - span + (uint64_t)k * grid)->t_ns) * 1e-9;
            out->size_l_s = h[k];
            return;
        }
}
