#include "analyze/manoeuvres/ripple.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#define STEP_S   0.0167
#define LEAST    10 /* points */

static double mean_at(const struct ring *r, enum ripple_channel c, uint64_t i, uint64_t n)
{
    return c == RIPPLE_FLOW ? ring_q_mean(r, i, i + n) : ring_p_mean(r, i, i + n);
}

/* Takes off mean and slope; rms of the rest, and how often it changes its sign. */
static void settle(struct ripple *x, double step_s)
{
    const int n = x->n;
    double mid = 0.5 * (n - 1), s = 0, st = 0, tt = n * ((double)n * n - 1) / 12, ss = 0;
    int crossings = 0;
    for (int k = 0; k < n; k++) {
        s += (double)x->y[k];
        st += (k - mid) * (double)x->y[k];
    }
    for (int k = 0; k < n; k++) {
        x->y[k] = (float)((double)x->y[k] - s / n - st / tt * (k - mid));
        ss += (double)x->y[k] * (double)x->y[k];
        crossings += k > 0 && (x->y[k] > 0) != (x->y[k - 1] > 0);
    }
    x->rms = sqrt(ss / (n - 2));
    x->crossings = crossings;
    x->hz = 0.5 * crossings / (step_s * (n - 1));
}

void ripple_read(const struct ring *r, const struct noise *z, enum ripple_channel c, double back_s, uint64_t from, uint64_t to,
                 struct ripple *out)
{
    const uint64_t step = ring_count(r, STEP_S);
    const double step_s = (double)step / r->rate_hz;
    const int back = (int)(back_s / step_s + 0.5);
    float m[RIPPLE_POINTS];
    int n = 0;
    out->n = 0;
    for (uint64_t i = from; i + step <= to && n < RIPPLE_POINTS; i += step)
        m[n++] = (float)mean_at(r, c, i, step);
    if (back < 1 || n - 2 * back < LEAST)
        return;
    out->n = n - 2 * back;
    for (int k = 0; k < out->n; k++)
        out->y[k] = m[k + back] - 0.5f * (m[k] + m[k + 2 * back]);
    settle(out, step_s);
    const double pi = 3.14159265358979323846, half = pi * out->hz * step_s;
    out->noise = (c == RIPPLE_FLOW ? z->q_sd_l_s : z->p_sd_cmh2o) * sqrt(1.5 / (double)step);
    out->gain = (1 - cos(2 * pi * out->hz * back * step_s)) * (half > 0 ? sin(half) / half : 1);
}

double ripple_excess(const struct ripple *x, double least)
{
    const double floor = larger(x->noise, least);
    return x->n > 0 && x->rms > floor ? sqrt(x->rms * x->rms - floor * floor) : 0;
}

double ripple_lasting(const struct ripple *x)
{
    float v[RIPPLE_POINTS];
    for (int k = 0; k < x->n; k++)
        v[k] = x->y[k] < 0 ? -x->y[k] : x->y[k];
    return x->n > 0 && x->rms > 0 ? (double)order_median_f(v, x->n) / x->rms : 0;
}

double ripple_together(const struct ripple *a, const struct ripple *b)
{
    const int n = a->n < b->n ? a->n : b->n;
    double aa = 0, bb = 0, ab = 0;
    for (int k = 0; k < n; k++) {
        aa += (double)a->y[k] * (double)a->y[k];
        bb += (double)b->y[k] * (double)b->y[k];
        ab += (double)a->y[k] * (double)b->y[k];
    }
    return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}
