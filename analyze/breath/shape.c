#include "analyze/breath/shape.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#define END_S          0.060
#define SCORE_MOST     3.0
#define PARTS          12
#define STRAIGHT_FROM  2
#define LATER          5
#define TUBING_LEAST   0.0007 /* L/cmH2O, an infant's; an adult's: */
#define TUBING_MOST    0.003
#define STILL          0.02  /* of the rise: no machine holds its pressure better */
#define STRAIGHT       0.01
#define FULL_S         0.12  /* valves, tubing and sensors lag in any patient */
#define FULL_SHARE     0.85
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

/* Inspiration as means over equal parts of the time in which gas flows in. */
struct parts {
    double q[PARTS], p[PARTS]; /* net flow; pressure above PEEP */
    double part_s, rise;       /* how long each is; median pressure of the later ones */
};

static double within(double v)
{
    return larger(-1, smaller(1, v));
}

/* Straight line through v[from..PARTS-2] by least squares: what it rises by over that stretch, and what is left, as rms less
 * noise. */
struct line {
    double climbs, left;
};

static struct line line_of(const double *v, int from, double noise)
{
    struct line out = {0};
    int n = PARTS - 1 - from;
    double mean = 0, st = 0, stt = 0, ss = 0;
    for (int i = 0; i < n; i++)
        mean += v[from + i] / n;
    for (int i = 0; i < n; i++) {
        double t = i - 0.5 * (n - 1), d = v[from + i] - mean;
        st += t * d, stt += t * t, ss += d * d;
    }
    out.climbs = st / stt * n;
    out.left = sqrt(larger(0, (ss - st * st / stt) / n - noise * noise));
    return out;
}

/* How far pressure strays from its mean, less noise. */
static double strays(const double *v, int from, double noise)
{
    int n = PARTS - 1 - from;
    double s = 0, ss = 0;
    for (int i = from; i < PARTS - 1; i++)
        s += v[i], ss += v[i] * v[i];
    return sqrt(larger(0, ss / n - s * s / n / n - noise * noise));
}

/* Flow of the machine: what the tubing takes while pressure rises is added, as much as makes flow straightest. */
static void with_tubing(const struct parts *x, double most, double *q)
{
    double d[PARTS], dt = x->part_s;
    int n = PARTS - 1 - STRAIGHT_FROM;
    for (int i = 0; i < PARTS; i++)
        d[i] = i == 0 ? (x->p[1] - x->p[0]) / dt : i == PARTS - 1 ? (x->p[i] - x->p[i - 1]) / dt : (x->p[i + 1] - x->p[i - 1]) / (2 * dt);
    /* Both without their straight lines; the regression of one on the other. */
    double mq = 0, md = 0, tq = 0, td = 0, tt = 0, dd = 0, dq = 0;
    for (int i = STRAIGHT_FROM; i < PARTS - 1; i++)
        mq += x->q[i] / n, md += d[i] / n;
    for (int i = STRAIGHT_FROM; i < PARTS - 1; i++) {
        double t = i - STRAIGHT_FROM - 0.5 * (n - 1), a = x->q[i] - mq, b = d[i] - md;
        tq += t * a, td += t * b, tt += t * t, dd += b * b, dq += a * b;
    }
    dd -= td * td / tt, dq -= td * tq / tt;
    double c = dd > 0 ? larger(0, smaller(-dq / dd, most)) : 0;
    for (int i = 0; i < PARTS; i++)
        q[i] = x->q[i] + c * d[i];
}

/* How long flow takes to its first 85 %: a machine that controls flow gives it at once; one that raises pressure slowly
 * does not. */
static double full_after_s(const struct parts *v)
{
    double top = 0;
    int i = 0;
    for (int j = 0; j < PARTS; j++)
        top = larger(top, v->q[j]);
    while (v->q[i] < FULL_SHARE * top)
        i++;
    return (i + 0.5) * v->part_s;
}

static bool parts_of(const struct measure_ctx *x, const struct seg_breath *b, uint64_t stop, struct parts *out)
{
    const struct ring *r = x->ring;
    if (stop < b->i0 + PARTS)
        return false;
    double len = (double)(stop - b->i0), peep = isnan(b->peep_before) ? b->p_foot : b->peep_before;
    for (int j = 0; j < PARTS; j++) {
        uint64_t from = b->i0 + (uint64_t)(len * j / PARTS), to = b->i0 + (uint64_t)(len * (j + 1) / PARTS);
        out->p[j] = ring_p_mean(r, from, to) - peep;
        out->q[j] = ring_q_mean(r, from, to) - base_flow_at(&x->seg->base, ring_at(r, from)->p);
    }
    out->part_s = len / PARTS / r->rate_hz;
    double late[PARTS - 1 - LATER];
    for (int j = LATER; j < PARTS - 1; j++)
        late[j - LATER] = out->p[j];
    out->rise = larger(order_median(late, PARTS - 1 - LATER), 0.5);
    return true;
}

/* Flow controlled: it follows a straight line, the tubing's share added, and pressure goes where it must. Pressure
 * controlled: it stands, and flow decays, bent as an exponential is. Pressure that falls late in inspiration is never
 * controlled. Weights: logistic regression on simulated patients with tubing, rise times and ramps of all kinds. */
static double control_score(const struct measure_ctx *x, const struct parts *v, double peak)
{
    double root = sqrt(larger(1, v->part_s * x->ring->rate_hz)), q_noise = x->noise->q_sd_l_s / root, p_noise = x->noise->p_sd_cmh2o / root;
    double machine[PARTS];
    with_tubing(v, TUBING_LEAST + (TUBING_MOST - TUBING_LEAST) * smaller(1, x->seg->scale.flow), machine);
    peak = larger(peak, 1e-4);
    double stray5 = strays(v->p, 5, p_noise) / v->rise, stray7 = strays(v->p, 7, p_noise) / v->rise;
    double straight = line_of(machine, STRAIGHT_FROM, q_noise).left / peak, bare = line_of(v->q, STRAIGHT_FROM, q_noise).left / peak;
    double q_bend = within((v->q[3] + v->q[11] - 2 * v->q[7]) / peak), p_bend = within((v->p[3] + v->p[11] - 2 * v->p[7]) / v->rise);
    double falls = smaller(0, within(line_of(v->p, 7, p_noise).climbs / v->rise));
    double score = 1.6 * log(larger(stray5, STILL)) + 2.6 * log(larger(stray7, STILL)) - 2.2 * log(larger(straight, STRAIGHT)) -
                   0.8 * log(larger(bare, STRAIGHT)) - 2.7 * q_bend - 3.5 * p_bend - 8.0 * falls -
                   0.8 * larger(0, log(full_after_s(v) / (larger(FULL_S * x->seg->scale.time, FULL_S) + 2 / x->ring->rate_hz))) + 1.4;
    return larger(-SCORE_MOST, smaller(SCORE_MOST, score));
}

void shape_of(const struct measure_ctx *x, const struct seg_breath *b, struct breath_more *more)
{
    const struct ring *r = x->ring;
    struct parts v;
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
    double len = (double)(stop - b->i0), peep = isnan(b->peep_before) ? b->p_foot : b->peep_before;
    uint64_t from = b->i0 + (uint64_t)larger(0.30 * len, smaller(0.25 * r->rate_hz, 0.6 * len)), to = b->i0 + (uint64_t)(0.94 * len);
    if (to < from + 3)
        return;
    more->p_rise_cmh2o = ring_p_mean(r, from, to + 1) - peep;
    if (parts_of(x, b, stop, &v))
        more->control_score = control_score(x, &v, peak);
}
