#include "analyze/breath/valve_lag.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#include <string.h>

#define BEFORE_S    0.03
#define P_WITHIN_S  0.08
#define Q_WITHIN_S  0.10
#define LEAST_CMH2O 3.0
#define LEAST_L_S   0.1
#define NOISE_SDS   12.0
#define LEAST       5
#define MOST_S      0.03

static double value(const struct ring_slot *a, bool flow)
{
    return flow ? a->q : a->p;
}

/* When the channel has come half of the way from its mean before sample i to its lowest value within seconds, counted from i;
 * NAN: it falls by less than `least`. */
static double half_fall_s(const struct ring *r, uint64_t i, double seconds, bool flow, double least)
{
    uint64_t k = ring_count(r, BEFORE_S), to = i + ring_count(r, seconds);
    double before = flow ? ring_q_mean(r, i + 1 - k, i + 1) : ring_p_mean(r, i + 1 - k, i + 1), low = before;
    for (uint64_t j = i; j <= to; j++)
        low = smaller(low, value(ring_at(r, j), flow));
    if (before - low < least)
        return (double)NAN;
    double half = 0.5 * (before + low);
    for (uint64_t j = i; j <= to; j++) {
        double a = value(ring_at(r, j - 1), flow), b = value(ring_at(r, j), flow);
        if (b > half || a <= half)
            continue;
        int64_t dt = ring_at(r, j)->t_ns - ring_at(r, j - 1)->t_ns, from = ring_at(r, j - 1)->t_ns - ring_at(r, i)->t_ns;
        return ((double)from + (double)dt * (a - half) / (a - b)) * 1e-9;
    }
    return (double)NAN;
}

void valve_lag_offer(struct valve_lag *g, const struct ring *r, const struct noise *z, const struct seg_breath *b, double flow_scale,
                     uint64_t end)
{
    uint64_t k = ring_count(r, BEFORE_S), i = b->i1;
    if (!b->fall || !b->has_t1 || i < ring_first(r) + k + 1 || i + ring_count(r, Q_WITHIN_S) >= end)
        return;
    double p = half_fall_s(r, i, P_WITHIN_S, false, larger(LEAST_CMH2O, NOISE_SDS * z->p_sd_cmh2o));
    double q = half_fall_s(r, i, Q_WITHIN_S, true, larger(LEAST_L_S * flow_scale, NOISE_SDS * z->q_sd_l_s));
    if (isnan(p) || isnan(q))
        return;
    g->kept_s[g->n % VALVE_LAG_KEPT] = q - p;
    g->n++;
    double v[VALVE_LAG_KEPT];
    int n = g->n < VALVE_LAG_KEPT ? g->n : VALVE_LAG_KEPT;
    memcpy(v, g->kept_s, sizeof v);
    double lag_s = n >= LEAST ? order_median(v, n) : 0;
    g->lag_s = lag_s > 0 && lag_s < MOST_S ? lag_s : 0;
}
