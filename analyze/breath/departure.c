#include "analyze/breath/departure.h"

#include "analyze/breath/hinge.h"

#define WINDOW_S       0.75
#define AFTER_TURN_S   0.2
#define POINTS_MAX     40
#define LEAD_S         0.035
#define RESIDUAL_SHARE 0.75

struct bars {
    double bend, slope, rise; /* second slope less first; second slope; departure at the end */
};

/* 30 ms means on an even grid of samples; flow as it is, or pressure turned round. */
static int collect(const struct ring *r, uint64_t from, uint64_t to, uint64_t mean, uint64_t grid, double sign,
                   bool flow, double *y)
{
    int n = 0;
    for (uint64_t j = from; j + mean <= to && n < POINTS_MAX; j += grid)
        y[n++] = sign * (flow ? ring_q_mean(r, j, j + mean) : ring_p_mean(r, j, j + mean));
    return n;
}

static bool departs(const double *y, int n, double dx, const struct bars *bar, double lead_s, int *at)
{
    struct hinge h;
    if (!hinge_fit(y, n, dx, &h))
        return false;
    *at = h.at;
    double lead = (n - 1 - h.at) * dx + lead_s;
    return h.after - h.before > bar->bend && h.after > bar->slope && h.rise > bar->rise &&
           h.rss < RESIDUAL_SHARE * h.rss_line && lead >= LEAD_S;
}

void departure_find(const struct measure_ctx *x, const struct seg_breath *b, uint64_t end, struct departure *out)
{
    const struct ring *r = x->ring;
    *out = (struct departure){.seen = false};
    if (!b->complete || b->i2 >= end)
        return;
    uint64_t mean = ring_count(r, 0.030), from = b->i1 + ring_count(r, AFTER_TURN_S);
    uint64_t back = ring_count(r, WINDOW_S), to = b->i2; /* the foot of the step, or the walk-back's start */
    if (b->i2 > back && from < b->i2 - back)
        from = b->i2 - back;
    if (to < from + 8 * mean / 2 || to <= from + mean)
        return;
    uint64_t grid = (to - from) / POINTS_MAX + 1;
    if (grid < mean / 2)
        grid = mean / 2;
    double y[POINTS_MAX], dx = (double)grid / r->rate_hz, sd30 = 1 / sqrt((double)mean);
    struct bars q = {.bend = 0.15 * x->seg->scale.flow, .slope = 0.1 * x->seg->scale.flow,
                     .rise = fmax(0.02 * x->seg->scale.flow,
                                  fmax(4 * x->noise->q_sd_l_s * sd30, 3 * x->heart_resid_l_s))};
    struct bars p = {.bend = 1.5, .slope = 1.0, .rise = fmax(0.25, 4 * x->noise->p_sd_cmh2o * sd30)};
    int at, n = collect(r, from, to + 1, mean, grid, 1, true, y);
    double lead = (double)mean / 2 / r->rate_hz;
    if (departs(y, n, dx, &q, lead, &at)) {
        out->seen = true;
    } else {
        n = collect(r, from, to + 1, mean, grid, -1, false, y);
        out->seen = departs(y, n, dx, &p, lead, &at);
    }
    if (out->seen)
        out->t_ns = ring_at(r, from + (uint64_t)at * grid + mean / 2)->t_ns;
}

double departure_heart_l_s(const struct ring *r, const struct seg_breath *b)
{
    uint64_t te = b->i2 - b->i1, from = b->i1 + te * 45 / 100, guard = ring_count(r, 0.25);
    if (!b->complete || b->i2 < from + guard + ring_count(r, 0.35))
        return (double)NAN;
    uint64_t to = b->i2 - guard, mean = ring_count(r, 0.030), grid = (to - from) / 60 + 1;
    double y[64];
    int n = 0;
    for (uint64_t j = from; j + mean <= to && n < 64; j += grid)
        y[n++] = ring_q_mean(r, j, j + mean);
    if (n < 8)
        return (double)NAN;
    /* On an even grid 1, u and u2 - mean(u2) are orthogonal (u from the middle): three sums are the fit. */
    double mid = 0.5 * (n - 1), s0 = 0, s1 = 0, s2 = 0, n1 = 0, n2 = 0, all = 0, square = (n * (double)n - 1) / 12;
    for (int k = 0; k < n; k++) {
        double u = k - mid, w = u * u - square;
        s0 += y[k];
        s1 += u * y[k];
        s2 += w * y[k];
        n1 += u * u;
        n2 += w * w;
        all += y[k] * y[k];
    }
    double rest = all - s0 * s0 / n - s1 * s1 / n1 - s2 * s2 / n2;
    return 1.41 * sqrt((rest > 0 ? rest : 0) / (n - 3));
}
