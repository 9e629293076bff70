#include "analyze/manoeuvres/holds.h"

#define INSP_LEAST_S   0.7
#define INSP_RATIO     1.6
#define INSP_ABOVE     3.0
#define EXP_LEAST_S    0.8
#define EXP_LONGER_S   0.5
#define EXP_RISE       0.5
#define EXP_PULL       1.5
#define LATE_S         0.8
#define RHYTHM_SPREAD  0.03
#define ZERO_L_S       0.03

static bool occluded(const struct holds_ctx *x, uint64_t i, uint64_t k)
{
    double q = ring_q_mean(x->ring, i, i + k), p = ring_p_mean(x->ring, i, i + k);
    double slope = (ring_p_mean(x->ring, i + k, i + 2 * k) - p) * x->ring->rate_hz / (double)k;
    double zero = fmax(ZERO_L_S * x->flow_scale, 3 * x->noise->q_sd_l_s / sqrt((double)k));
    return fabs(q - base_flow_at(x->base, p)) <= zero + x->circuit_c_l_cmh2o * fabs(slope);
}

double holds_pause_s(const struct holds_ctx *x, const struct seg_breath *b)
{
    uint64_t k = ring_count(x->ring, 0.05), i = b->i1;
    while (i > b->i0 + 2 * k && occluded(x, i - 2 * k, k))
        i -= k;
    return (double)(ring_at(x->ring, b->i1)->t_ns - ring_at(x->ring, i)->t_ns) * 1e-9;
}

bool holds_inspiratory(const struct holds_ctx *x, const struct seg_breath *b, const struct ordinary *o,
                       double pause_s, struct event *out)
{
    if (!b->has_t1 || !b->machine || pause_s < INSP_LEAST_S)
        return false;
    if (isnan(o->pause_s) ? pause_s < 2 * INSP_LEAST_S : pause_s < INSP_RATIO * o->pause_s + 0.3)
        return false;
    double peep = isnan(o->peep_cmh2o) ? b->p_foot : o->peep_cmh2o;
    int64_t from = ring_at(x->ring, b->i1)->t_ns - (int64_t)(pause_s * 1e9);
    uint64_t i = ring_find(x->ring, b->i0, b->i1, from);
    if (ring_p_mean(x->ring, i, b->i1 + 1) < peep + INSP_ABOVE)
        return false;
    *out = (struct event){.start_ns = from, .end_ns = b->t1_ns, .id = EVENT_insp_hold,
                          .confidence = CONF_DEFINITE, .n_values = 1};
    out->values[0] = (struct event_value){.key = "hold_s", .number = (double)(b->t1_ns - from) * 1e-9, .decimals = 2};
    return true;
}

bool holds_expiratory(const struct holds_ctx *x, const struct seg_breath *b, const struct ordinary *o,
                      struct event *out)
{
    const struct ring *r = x->ring;
    double te = (double)(b->t2_ns - b->t1_ns) * 1e-9, period = (double)(b->t2_ns - b->t0_ns) * 1e-9;
    uint64_t k = ring_count(r, 0.05);
    if (!b->complete || isnan(o->te_s) || te < o->te_s + EXP_LONGER_S || te < EXP_LEAST_S || b->i2 < b->i1 + 20 * k)
        return false;
    /* The last quarter second may hold the next effort's pull: the occluded stretch is looked for before it. */
    uint64_t stop = b->i2 - 2 * k, i = stop;
    while (i > b->i1 + 3 * k && occluded(x, i - 2 * k, k))
        i -= k;
    double held = (double)(stop - i) / r->rate_hz;
    if (held < EXP_LEAST_S || i < b->i1 + 3 * k)
        return false;
    double before = ring_p_mean(r, i - 2 * k, i - k), top = -INFINITY, low = INFINITY;
    for (uint64_t j = i; j + k <= stop; j += k) {
        double p = ring_p_mean(r, j, j + k);
        top = fmax(top, p);
        low = fmin(low, p);
    }
    double noise = 3 * x->noise->p_sd_cmh2o / sqrt((double)k);
    int64_t from = ring_at(r, i)->t_ns;
    enum confidence sure = CONF_NONE;
    if (top > before + fmax(EXP_RISE, noise) || low < before - fmax(EXP_PULL, noise)) {
        sure = top > before + 2 * EXP_RISE || low < before - 2 * EXP_PULL ? CONF_DEFINITE : CONF_POSSIBLE;
    } else if (o->machine_share > 0.8 && o->period_spread < RHYTHM_SPREAD && period > o->period_s + LATE_S) {
        sure = CONF_POSSIBLE;
        from = b->t0_ns + (int64_t)(o->period_s * 1e9); /* from where the inflation was due */
    }
    if (sure == CONF_NONE)
        return false;
    *out = (struct event){.start_ns = from, .end_ns = b->t2_ns, .id = EVENT_exp_hold, .confidence = sure, .n_values = 1};
    out->values[0] = (struct event_value){.key = "hold_s", .number = (double)(b->t2_ns - from) * 1e-9, .decimals = 2};
    return true;
}
