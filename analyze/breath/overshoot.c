#include "analyze/breath/overshoot.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#define EARLY_S   0.3
#define PEAK_S    0.02
#define FROM      0.4
#define TO        0.8
#define BLOCKS    9
#define SHORTEST_S 0.15

void overshoot_read(const struct ring *r, const struct seg_breath *b, struct overshoot *out)
{
    *out = (struct overshoot){.over_cmh2o = (double)NAN, .plateau_cmh2o = (double)NAN, .foot_cmh2o = b->p_foot, .at_ns = b->t0_ns};
    uint64_t n = b->i1 - b->i0, mean = ring_count(r, PEAK_S);
    if (mean < 2)
        mean = 2;
    if (!b->machine || !b->has_t1 || b->i0 < ring_first(r) || (double)n < SHORTEST_S * r->rate_hz || n < 2 * BLOCKS)
        return;
    uint64_t early = ring_count(r, EARLY_S), from = b->i0 + (uint64_t)(FROM * (double)n), to = b->i0 + (uint64_t)(TO * (double)n);
    if (early > (uint64_t)(TO * (double)n) - BLOCKS)
        early = (uint64_t)(TO * (double)n) - BLOCKS;
    double top = -INFINITY;
    uint64_t at = b->i0;
    for (uint64_t i = b->i0; i + mean <= b->i0 + early; i++) {
        double p = ring_p_mean(r, i, i + mean);
        if (p > top)
            top = p, at = i;
    }
    if (from < at + mean)
        from = at + mean;
    if (to < from + BLOCKS)
        return;
    double v[BLOCKS];
    for (uint64_t k = 0; k < BLOCKS; k++)
        v[k] = ring_p_mean(r, from + (to - from) * k / BLOCKS, from + (to - from) * (k + 1) / BLOCKS);
    out->plateau_cmh2o = order_median(v, BLOCKS);
    out->plateau_s = (double)(to - from) / r->rate_hz;
    out->over_cmh2o = top - out->plateau_cmh2o;
    out->peak_flow_l_s = ring_q_mean(r, at, at + mean);
    out->at_ns = ring_at(r, at)->t_ns;
}
