#include "analyze/mechanics/lag.h"

#include "analyze/breath/extreme.h"

#define FIRST_S    (-0.010)
#define STEP_S     0.006
#define FORGET     0.95
#define EVERY      40
#define LEAST      5
#define MOST_ROWS  96

/* Integral of flow at a share of the step after sample j: samples joined by straight lines. */
static inline double volume_at(const struct ring *r, uint64_t j, double share)
{
    const struct ring_slot *a = ring_at(r, j), *b = ring_at(r, j + 1);
    return a->vol_l + share * ((b->vol_l - a->vol_l) - 0.5 * (1 - share) * (b->q - a->q) * (double)(b->t_ns - a->t_ns) * 1e-9);
}

void lag_gather(const struct ring *r, uint64_t i0, uint64_t i1, uint64_t i2, double lag_s, double drift_l_s,
                struct motion_samples *out)
{
    uint64_t stride = (i2 - i0) / MOST_ROWS + 1, first = ring_first(r), j = i0;
    uint64_t half = stride > 2 ? stride / 2 : 1; /* a row is the mean from half before to half after */
    int64_t lag_ns = (int64_t)(lag_s * 1e9), t0 = ring_at(r, i0)->t_ns;
    double v0 = (double)NAN;
    out->n = 0;
    for (uint64_t i = i0 > first + half ? i0 : first + half; i <= i2 && out->n < MOTION_ROWS_MAX; i += stride) {
        int64_t now = ring_at(r, i)->t_ns, want = now + lag_ns;
        if (out->n > 0)
            j += stride; /* or beside it: rows follow evenly */
        if (j + 2 > r->end)
            j = r->end - 2;
        while (j > first && ring_at(r, j)->t_ns > want)
            j--;
        while (j + 2 < r->end && ring_at(r, j + 1)->t_ns <= want)
            j++;
        if (j < first + half || j + half + 2 > r->end || i + half + 1 > r->end)
            continue;
        const struct ring_slot *a = ring_at(r, j), *b = ring_at(r, j + 1);
        const struct ring_slot *from = ring_at(r, i - half), *to = ring_at(r, i + half);
        double share = (double)(want - a->t_ns) / (double)(b->t_ns - a->t_ns);
        share = share < 0 ? 0 : share > 1 ? 1 : share;
        double v = volume_at(r, j, share), width_s = (double)(to->t_ns - from->t_ns) * 1e-9;
        double width_q_s = (double)(ring_at(r, j + half)->t_ns - ring_at(r, j - half)->t_ns) * 1e-9;
        double q = (volume_at(r, j + half, share) - volume_at(r, j - half, share)) / width_q_s;
        int k = out->n++;
        out->t_s[k] = (double)(now - t0) * 1e-9;
        out->p[k] = (to->p_s - from->p_s) / width_s;
        out->q[k] = q;
        if (k == 0)
            v0 = v - q * out->t_s[0];
        out->v[k] = v - v0 - drift_l_s * out->t_s[k];
    }
    out->ti_s = (double)(ring_at(r, i1)->t_ns - t0) * 1e-9;
    out->ttot_s = (double)(ring_at(r, i2)->t_ns - t0) * 1e-9;
    out->step_s = (double)stride / r->rate_hz;
}

/* Residual sum of squares over all samples. Where E is known it is not asked again: under noise a wrong E and a wrong lag
 * make up for each other. */
static double misfit(const struct motion_samples *s, double e, double *a)
{
    struct lsq_fit f;
    int cols = isnan(e) ? 4 : 3;
    for (int i = 0; i < s->n; i++) {
        double *row = a + (ptrdiff_t)i * (cols + 1);
        row[0] = larger(s->q[i], 0);
        row[1] = smaller(s->q[i], 0);
        row[2] = 1;
        if (cols == 4)
            row[3] = s->v[i];
        row[cols] = s->p[i] - (cols == 4 ? 0 : e * s->v[i]);
    }
    return lsq_solve(a, s->n, cols, 100, &f) == TM_OK ? f.rss : INFINITY;
}

/* The lowest of the summed misfits, by a parabola through it and its neighbours; false: at an end. */
static bool lowest(const struct lag *g, double *lag_s)
{
    int best = 0;
    for (int k = 1; k < LAG_TRIES; k++)
        best = g->misfit[k] < g->misfit[best] ? k : best;
    if (best == 0 || best == LAG_TRIES - 1)
        return false;
    double before = g->misfit[best - 1], after = g->misfit[best + 1], bend = before - 2 * g->misfit[best] + after;
    *lag_s = FIRST_S + STEP_S * (best + (bend > 0 ? 0.5 * (before - after) / bend : 0));
    return true;
}

void lag_offer(struct lag *g, const struct ring *r, uint64_t i0, uint64_t i1, uint64_t i2, double drift_l_s,
               double e_cmh2o_l, struct motion_samples *scratch, double *work)
{
    bool turn = g->n < LAG_KEPT || g->seen % EVERY == 0;
    g->seen++;
    if (!turn)
        return;
    double rss[LAG_TRIES], least = INFINITY;
    for (int k = 0; k < LAG_TRIES; k++) {
        lag_gather(r, i0, i1, i2, FIRST_S + k * STEP_S, drift_l_s, scratch);
        rss[k] = misfit(scratch, e_cmh2o_l, work);
        least = smaller(least, rss[k]);
        if (!isfinite(rss[k]))
            return;
    }
    /* Each breath in units of its own residual: one that a cough spoils says little. */
    for (int k = 0; k < LAG_TRIES && least > 0; k++)
        g->misfit[k] = (g->n < LAG_KEPT ? 1 : FORGET) * g->misfit[k] + rss[k] / least;
    g->n++;
    double at;
    if (g->n >= LEAST && lowest(g, &at))
        g->lag_s = at;
}
