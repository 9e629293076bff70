#include "analyze/breath/shape.h"

#include "analyze/breath/extreme.h"
#define END_S          0.060
#define FULL_S         0.12
#define FULL_LEAST_S   0.12 /* valves, tubing and sensors lag in any patient */
#define FULL_SHARE     0.85
#define LATE           1.5
#define SCORE_MOST     1.5
#define PROFILE_FROM_S 0.15
#define PROFILE_STEP_S 0.07
/* Flow ends at the last sample over max(0.03, 8 % of the peak): a pause inside the window would make volume
 * control look like pressure control. */
static uint64_t flow_end(const struct measure_ctx *x, const struct seg_breath *b, double peak)
{
    double level = larger(0.03 * x->seg->scale.flow, 0.08 * peak);
    uint64_t i = b->i1;
    while (i > b->i0 + 1) {
        const struct ring_slot *s = ring_at(x->ring, i);
        if (s->q - base_flow_at(&x->seg->base, s->p) > level)
            break;
        i--;
    }
    return i;
}

/* Flow at t1, from a straight line over the 60 ms before it. */
static void end_of_flow(const struct measure_ctx *x, const struct seg_breath *b, double peak, struct breath_more *more)
{
    const struct ring *r = x->ring;
    uint64_t n = ring_count(r, END_S) + 1;
    n = n < 3 ? 3 : n;
    more->end_share = more->end_share_sd = more->end_slope = (double)NAN;
    if (!b->has_t1 || b->i1 < b->i0 + 2 * n || peak <= 0)
        return;
    double sx = 0, sy = 0, sxx = 0, sxy = 0, m = (double)n;
    for (uint64_t i = 0; i < n; i++) {
        double u = -(double)i, y = ring_at(r, b->i1 - i)->q;
        sx += u, sy += y, sxx += u * u, sxy += u * y;
    }
    double slope = (sxy - sx * sy / m) / (sxx - sx * sx / m), at = (sy - slope * sx) / m;
    double noise = 2 * x->noise->q_sd_l_s / sqrt(m); /* at the line's end: 4 sd^2/n */
    more->end_share = (at - base_flow_at(&x->seg->base, ring_at(r, b->i1)->p)) / peak;
    more->end_slope = slope * r->rate_hz / peak;
    more->end_share_sd = sqrt(noise * noise + 0.25 * slope * slope) / peak; /* t1 lies within half a sample */
}

/* How long flow takes to its first 85 %: a machine that controls flow gives it at once; one that raises pressure slowly
 * does not. */
static double full_after_s(const struct measure_ctx *x, const struct seg_breath *b, double peak)
{
    uint64_t k = ring_count(x->ring, 0.030), i = b->i0;
    double top = 0;
    for (uint64_t j = b->i0; j + k <= b->i1; j += k > 1 ? k / 2 : 1)
        top = larger(top, ring_q_mean(x->ring, j, j + k));
    top = smaller(top, peak);
    while (i < b->i1 && ring_at(x->ring, i)->q < FULL_SHARE * top)
        i++;
    return (double)(i - b->i0 + 1) / x->ring->rate_hz;
}

/* Not from the very start: there a few milliseconds' error of t0 are a large difference. */
static void profile(const struct measure_ctx *x, const struct seg_breath *b, struct breath_more *more)
{
    const struct ring *r = x->ring;
    uint64_t mean = ring_count(r, 0.030);
    double time = x->seg->scale.time, rest = isnan(b->peep_before) ? b->p_foot : b->peep_before;
    more->n_profile = 0;
    for (int k = 0; k < PROFILE; k++) {
        uint64_t from = b->i0 + ring_count(r, (PROFILE_FROM_S + PROFILE_STEP_S * k) * time);
        if (from + mean > b->i1)
            return;
        double p = ring_p_mean(r, from, from + mean);
        more->p_at[k] = (float)(p - rest);
        more->q_at[k] = (float)(ring_q_mean(r, from, from + mean) - base_flow_at(&x->seg->base, p));
        more->n_profile++;
    }
}

void shape_of(const struct measure_ctx *x, const struct seg_breath *b, struct breath_more *more)
{
    const struct ring *r = x->ring;
    more->control_score = more->end_share = more->end_share_sd = more->end_slope = more->ends_by_time = (double)NAN;
    double peak = 0;
    for (uint64_t i = b->i0; i <= b->i1; i++)
        peak = larger(peak, ring_at(r, i)->q);
    peak -= base_flow_at(&x->seg->base, ring_at(r, b->i1)->p);
    end_of_flow(x, b, peak, more);
    profile(x, b, more);
    uint64_t stop = flow_end(x, b, peak);
    if (stop < b->i0 + 8)
        return;
    double len = (double)(stop - b->i0);
    uint64_t p_from = b->i0 + (uint64_t)larger(0.30 * len, smaller(0.25 * r->rate_hz, 0.6 * len));
    uint64_t q_from = b->i0 + (uint64_t)(0.20 * len), to = b->i0 + (uint64_t)(0.94 * len);
    double peep = isnan(b->peep_before) ? b->p_foot : b->peep_before;
    if (to < p_from + 3 || to < q_from + 4)
        return;
    double n = 0, s = 0, ss = 0; /* of pressure above PEEP */
    for (uint64_t i = p_from; i <= to; i++) {
        double p = ring_at(r, i)->p - peep;
        n++, s += p, ss += p * p;
    }
    double mean = s / n;
    more->p_rise_cmh2o = mean;
    double var = larger(0, ss / n - mean * mean - x->noise->p_sd_cmh2o * x->noise->p_sd_cmh2o);
    double spread = sqrt(var) / larger(fabs(mean), 0.5);
    double m = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
    for (uint64_t i = q_from; i <= to; i++) {
        double u = (double)(i - q_from), y = ring_at(r, i)->q;
        m++, sx += u, sy += y, sxx += u * u, sxy += u * y;
    }
    double slope = (sxy - sx * sy / m) / (sxx - sx * sx / m), icpt = (sy - slope * sx) / m, worst = 0;
    uint64_t k = ring_count(r, 0.030), half = k / 2;
    for (uint64_t i = q_from; i + k <= to + 1; i += k > 1 ? k / 2 : 1) {
        double u = (double)(i - q_from) + (double)half;
        worst = larger(worst, fabs(ring_q_mean(r, i, i + k) - (icpt + slope * u)));
    }
    double bend = worst / larger(peak, 1e-6);
    double late = log(full_after_s(x, b, peak) / (larger(FULL_S * x->seg->scale.time, FULL_LEAST_S) + 2 / r->rate_hz));
    more->control_score = log(larger(spread, 1e-4) / 0.022) + 0.7 * log(0.035 / larger(bend, 1e-4));
    more->control_score = larger(-SCORE_MOST, smaller(SCORE_MOST, more->control_score)) - LATE * larger(0, late);
}
