#include "analyze/breath/elbow.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/onset_fit.h"

#define RISE_P_CMH2O      1.2
#define RISE_CONFIRM_S    0.35
#define RISE_CONFIRM_L    0.020
#define RAISED_CMH2O      2.0
#define RAISED_S          0.15
#define EMPTYING_L_S      0.05
#define DELIVERS          0.5 /* of the highest flow so far */
#define RISE_STEP_L_S     0.2
#define RISE_OVER_CMH2O   0.4
#define STANDS            0.10
#define RISE_FED_L_S      0.3
#define RISE_FED_CMH2O    0.8
#define FALL_LOOK_S       0.15
#define NEAR_PEEP_CMH2O   1.5
#define FLOWS_ON          0.4
#define SHARE_OF_LARGEST  0.30
#define SHARE_LEAST       0.125
#define NOISE_SDS         3.0
#define PRESSURE_SHARE    0.25

void elbow_init(struct elbow_ctx *x, const struct ring *r, const struct noise *z, const struct base_flow *b,
                struct breath_scale scale)
{
    x->ring = r;
    x->noise = z;
    x->base = b;
    x->scale = scale;
    x->span = ring_count(r, 0.060);
    x->mean = ring_count(r, 0.030);
    x->half = (x->mean + 1) / 2;
    x->ahead = ring_count(r, 0.8);
    elbow_refresh(x);
}

void elbow_refresh(struct elbow_ctx *x)
{
    double root = sqrt((double)x->mean);
    x->dp_min = larger(0.8, 5 * x->noise->p_sd_cmh2o / root);
    x->dq_min = larger(0.12 * x->scale.flow, 5 * x->noise->q_sd_l_s / root);
}

/* Share of the largest step that the step from j to j + h makes, mean of both channels; sign +1 rise, -1 fall. */
struct steps {
    uint64_t lo, hi, h; /* steps start at lo .. hi - 1 */
    double dp, dq;      /* largest in the sign's direction */
    uint64_t top;       /* where the shares' mean is largest */
    double sign;
};

static double step_share(const struct ring *r, const struct steps *s, uint64_t j)
{
    const struct ring_slot *a = ring_at(r, j), *b = ring_at(r, j + s->h);
    double dp = s->sign * (b->p - a->p), dq = s->sign * (b->q - a->q);
    return 0.5 * ((dp > 0 ? dp / s->dp : 0) + (dq > 0 ? dq / s->dq : 0));
}

static bool steps_find(const struct elbow_ctx *x, uint64_t n, uint64_t end, double sign, struct steps *s)
{
    const struct ring *r = x->ring;
    uint64_t first = ring_first(r);
    s->h = ring_count(r, 0.010);
    s->lo = n > first + x->mean ? n - x->mean : first;
    s->hi = n + x->span + x->mean;
    s->sign = sign;
    if (end < s->h + 1 || s->hi > end - s->h)
        s->hi = end - s->h;
    if (s->hi <= s->lo + 1)
        return false;
    s->dp = s->dq = 0;
    for (uint64_t j = s->lo; j < s->hi; j++) {
        const struct ring_slot *a = ring_at(r, j), *b = ring_at(r, j + s->h);
        s->dp = larger(s->dp, sign * (b->p - a->p));
        s->dq = larger(s->dq, sign * (b->q - a->q));
    }
    if (s->dp <= 0 || s->dq <= 0)
        return false;
    double best = 0;
    s->top = s->lo;
    for (uint64_t j = s->lo; j < s->hi; j++) {
        double share = step_share(r, s, j);
        if (share > best) {
            best = share;
            s->top = j;
        }
    }
    return true;
}

/* Back from the largest step to the first one that noise does not make: an eighth of the largest, or more where
 * the channels are noisier. */
static uint64_t step_start(const struct elbow_ctx *x, const struct steps *s)
{
    const struct ring *r = x->ring;
    uint64_t j = s->top;
    double noise = 0.5 * NOISE_SDS * (x->noise->p_sd_cmh2o / s->dp + x->noise->q_sd_l_s / s->dq);
    double bar = smaller(larger(SHARE_LEAST, noise), SHARE_OF_LARGEST);
    while (j > s->lo && step_share(r, s, j - 1) >= bar)
        j--;
    /* A step over h samples starts up to h - 1 samples before the act: go on while nothing has moved yet. */
    while (s->h > 1 && j < s->top) {
        const struct ring_slot *a = ring_at(r, j), *b = ring_at(r, j + 1);
        double dp = s->sign * (b->p - a->p), dq = s->sign * (b->q - a->q);
        if (dp * (double)s->h >= bar * s->dp || dq * (double)s->h >= bar * s->dq)
            break;
        j++;
    }
    return j;
}

static void foot_of(const struct elbow_ctx *x, uint64_t at, struct elbow *out)
{
    uint64_t first = ring_first(x->ring);
    uint64_t from = at + 1 > first + x->half ? at + 1 - x->half : first;
    out->at = at;
    out->p_foot = ring_p_mean(x->ring, from, at + 1);
    out->q_foot = ring_q_mean(x->ring, from, at + 1);
    out->t_ns = ring_at(x->ring, at)->t_ns;
}

/* The largest departure from the foot within seconds, in the sign's direction. */
static void extremes(const struct elbow_ctx *x, uint64_t end, double seconds, double sign, struct elbow *out)
{
    const struct ring *r = x->ring;
    uint64_t to = out->at + ring_count(r, seconds) + 1;
    out->p_step = out->q_step = 0;
    for (uint64_t j = out->at + 1; j < to && j < end; j++) {
        const struct ring_slot *s = ring_at(r, j);
        double dp = sign * (s->p - out->p_foot), dq = sign * (s->q - out->q_foot);
        out->p_step = larger(out->p_step, dp);
        out->q_step = larger(out->q_step, dq);
    }
}

/* Flow that stands at a level from 0.12 to 0.3 s after the step is given, whatever pressure does: volume control that a strong
 * effort outdraws. */
static bool stands(const struct elbow_ctx *x, uint64_t at, uint64_t end)
{
    const struct ring *r = x->ring;
    uint64_t from = at + ring_count(r, 0.12), to = at + ring_count(r, 0.30);
    double lo = INFINITY, hi = -INFINITY;
    if (to + x->mean >= end)
        return false;
    for (uint64_t j = from; j <= to; j += x->half) {
        double q = ring_q_mean(r, j, j + x->mean);
        lo = smaller(lo, q);
        hi = larger(hi, q);
    }
    return hi - lo < STANDS * hi;
}

bool elbow_rise(const struct elbow_ctx *x, uint64_t n, uint64_t end, double peep_cmh2o, struct elbow *out)
{
    const struct ring *r = x->ring;
    struct steps s;
    if (!steps_find(x, n, end, 1, &s))
        return false;
    foot_of(x, step_start(x, &s), out);
    uint64_t to = out->at + ring_count(r, RISE_CONFIRM_S);
    if (to >= end)
        to = end - 1;
    if (to <= out->at)
        return false;
    double p_max = -INFINITY, base_l = 0, q_top = 0, q_end;
    for (uint64_t j = out->at + 1; j <= to; j++) {
        const struct ring_slot *b = ring_at(r, j), *a = ring_at(r, j - 1);
        double base = base_flow_at(x->base, b->p);
        q_top = larger(q_top, b->q - base);
        /* Only while gas is delivered: what comes after the turn is expiration's. */
        if (b->q - base >= DELIVERS * q_top)
            p_max = larger(p_max, b->p);
        base_l += base * (double)(b->t_ns - a->t_ns) * 1e-9;
    }
    /* A lung that was still emptying turns a little later; pressure shows whose act it is. */
    uint64_t soon = out->at + ring_count(r, RAISED_S);
    bool raised = out->q_foot < 0 && soon + x->half < end &&
                  ring_p_mean(r, soon - x->half, soon + x->half) > out->p_foot + RAISED_CMH2O;
    double emptying_l = raised ? out->q_foot * (double)(ring_at(r, to)->t_ns - out->t_ns) * 1e-9 : 0;
    if (ring_vol_l(r, out->at, to) - base_l - emptying_l < RISE_CONFIRM_L * x->scale.volume)
        return false;
    extremes(x, end, FALL_LOOK_S, 1, out);
    uint64_t steady, start = onset_fit(r, ring_first(r), end, out->at, out->p_foot, out->p_step, x->noise->p_sd_cmh2o, &steady);
    out->steady_ns = ring_at(r, steady)->t_ns;
    if (start != out->at) {
        foot_of(x, start, out);
        extremes(x, end, FALL_LOOK_S, 1, out);
    }
    uint64_t in = out->at + x->span + x->half;
    if (in >= end)
        in = end - 1;
    q_end = raised ? q_top : ring_at(r, in)->q - base_flow_at(x->base, ring_at(r, in)->p);
    /* A strong effort eats the pressure of volume control; the flow's step is then all the larger. */
    double p_least = out->q_step >= RISE_FED_L_S * x->scale.flow ? RISE_FED_CMH2O : RISE_P_CMH2O;
    if (q_end <= 0 || p_max < out->p_foot + p_least)
        return false;
    /* Pressure that only comes back to PEEP after an effort's dip is a demand valve's answer; not where gas still went out. */
    return isnan(peep_cmh2o) || (raised && out->q_foot < -EMPTYING_L_S * x->scale.flow) || p_max > peep_cmh2o + RISE_P_CMH2O ||
           (out->q_step >= RISE_STEP_L_S * x->scale.flow &&
            (p_max > peep_cmh2o + RISE_OVER_CMH2O || stands(x, out->at, end)));
}

bool elbow_fall(const struct elbow_ctx *x, uint64_t n, uint64_t end, double peep_cmh2o, struct elbow *out)
{
    const struct ring *r = x->ring;
    struct steps s;
    if (!steps_find(x, n, end, -1, &s))
        return false;
    uint64_t at = step_start(x, &s);
    /* Pressure itself must have begun to fall: an effort that ends under pressure control drops flow first. */
    while (at < s.top) {
        double dp = ring_at(r, at)->p - ring_at(r, at + s.h)->p;
        if (dp >= PRESSURE_SHARE * s.dp)
            break;
        at++;
    }
    foot_of(x, at, out);
    extremes(x, end, FALL_LOOK_S, -1, out);
    uint64_t to = at + ring_count(r, FALL_LOOK_S) + 1;
    out->outward_after = false;
    double p_min = INFINITY, q_last = out->q_foot;
    for (uint64_t j = at + 1; j < to && j < end; j++) {
        const struct ring_slot *b = ring_at(r, j);
        double q = b->q - base_flow_at(x->base, b->p);
        p_min = smaller(p_min, b->p);
        q_last = q;
        if (q < -larger(0.05 * x->scale.flow, 2 * x->noise->q_sd_l_s))
            out->outward_after = true;
    }
    /* Low pressure alone is no end while flow goes on: an effort may draw as much as is given. */
    bool stopped = q_last < FLOWS_ON * out->q_foot;
    return out->outward_after || (stopped && !isnan(peep_cmh2o) && p_min <= peep_cmh2o + NEAR_PEEP_CMH2O);
}
