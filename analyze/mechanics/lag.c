#include "analyze/mechanics/lag.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#include <string.h>

#define TRIES      6
#define FIRST_S    (-0.010)
#define STEP_S     0.010
#define EVERY      40
#define LEAST      5
#define MOST_ROWS  96

void lag_gather(const struct ring *r, uint64_t i0, uint64_t i1, uint64_t i2, double lag_s, double drift_l_s,
                struct motion_samples *out)
{
    uint64_t stride = (i2 - i0) / MOST_ROWS + 1, half = stride / 2, j = i0, first = ring_first(r);
    int64_t lag_ns = (int64_t)(lag_s * 1e9), t0 = ring_at(r, i0)->t_ns;
    double v0 = (double)NAN;
    out->n = 0;
    for (uint64_t i = i0; i + stride <= i2 + 1 && out->n < MOTION_ROWS_MAX; i += stride) {
        /* A row is the mean of `stride` samples: the model is linear, so nothing is lost but noise. */
        int64_t now = ring_at(r, i + half)->t_ns, want = now + lag_ns;
        if (i > i0 && j + stride + 2 <= r->end)
            j += stride; /* or beside it: rows follow evenly */
        while (j > first && ring_at(r, j)->t_ns > want)
            j--;
        while (j + 2 < r->end && ring_at(r, j + 1)->t_ns <= want)
            j++;
        const struct ring_slot *a = ring_at(r, j), *b = ring_at(r, j + 1);
        double share = (double)(want - a->t_ns) / (double)(b->t_ns - a->t_ns);
        share = share < 0 ? 0 : share > 1 ? 1 : share;
        double v = a->vol_l + share * (b->vol_l - a->vol_l), q = a->q + share * (b->q - a->q);
        if (stride > 1 && j > first + half && j + stride + 1 < r->end) {
            uint64_t from = j - half;
            q = (1 - share) * ring_q_mean(r, from, from + stride) +
                share * ring_q_mean(r, from + 1, from + 1 + stride);
        }
        int k = out->n++;
        out->t_s[k] = (double)(now - t0) * 1e-9;
        out->p[k] = ring_p_mean(r, i, i + stride);
        out->q[k] = q;
        if (k == 0)
            v0 = v - q * out->t_s[0];
        out->v[k] = v - v0 - drift_l_s * out->t_s[k];
    }
    out->ti_s = (double)(ring_at(r, i1)->t_ns - t0) * 1e-9;
    out->ttot_s = (double)(ring_at(r, i2)->t_ns - t0) * 1e-9;
    out->step_s = (double)stride / r->rate_hz;
}

/* Residual sum of squares of the four-column model over all samples. */
double lag_misfit(const struct motion_samples *s, double *a)
{
    struct lsq_fit f;
    for (int i = 0; i < s->n; i++) {
        double *row = a + (ptrdiff_t)i * 5;
        row[0] = larger(s->q[i], 0);
        row[1] = smaller(s->q[i], 0);
        row[2] = s->v[i];
        row[3] = 1;
        row[4] = s->p[i];
    }
    return lsq_solve(a, s->n, 4, 100, &f) == TM_OK ? f.rss : INFINITY;
}

void lag_offer(struct lag *g, const struct ring *r, uint64_t i0, uint64_t i1, uint64_t i2, double drift_l_s,
               struct motion_samples *scratch, double *work)
{
    bool turn = g->n < LAG_KEPT || g->seen % EVERY == 0;
    g->seen++;
    if (!turn)
        return;
    double rss[TRIES];
    int best = 0;
    for (int k = 0; k < TRIES; k++) {
        lag_gather(r, i0, i1, i2, FIRST_S + k * STEP_S, drift_l_s, scratch);
        rss[k] = lag_misfit(scratch, work);
        best = rss[k] < rss[best] ? k : best;
    }
    if (best == 0 || best == TRIES - 1 || !isfinite(rss[best - 1]) || !isfinite(rss[best + 1]))
        return;
    double bend = rss[best - 1] - 2 * rss[best] + rss[best + 1];
    double at = bend > 0 ? 0.5 * (rss[best - 1] - rss[best + 1]) / bend : 0;
    g->kept_s[g->n % LAG_KEPT] = FIRST_S + (best + at) * STEP_S;
    g->n++;
    double v[LAG_KEPT];
    int n = g->n < LAG_KEPT ? g->n : LAG_KEPT;
    memcpy(v, g->kept_s, sizeof v);
    if (n >= LEAST)
        g->lag_s = order_median(v, n);
}
