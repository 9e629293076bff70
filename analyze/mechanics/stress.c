#include "analyze/mechanics/stress.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#define B_LOW         0.3
#define B_HIGH        2.5
#define B_EXACT       1e-4
#define STEPS_MOST    6
#define STEP_MOST     0.5
#define GOLDEN        0.6180339887498949
#define NEAR_BOUND    0.01
#define RMSE_MOST     0.5  /* cmH2O */
#define RISE_LEAST    3.0  /* cmH2O */
#define SETTLES_S     0.1
#define SETTLES_MOST  0.4  /* of the time that flow lasts: later constant flow is the tail of another shape */
#define BEFORE_END_S  0.05
#define SPAN_LEAST_S  0.4
#define SAMPLES_LEAST 25
#define WITHIN        0.05 /* of the median flow */
#define SETTLED       0.015 /* of it: what flow still has to rise by goes into pressure through the resistance, and bends it */
#define BLOCKS        16
#define FLOW_LEAST_L_S 0.05
#define OUTLIER       3.0 /* standard deviations */
#define ALIKE         0.1
#define ALIKE_CMH2O   1.5 /* a beat on either */
#define ALIKE_RISE    0.15

/* The straight line in x = t^b, for one b. */
struct line {
    double a, c, rss;
};

static struct line line_at(const double *log_t, const double *p, int n, double b)
{
    double x[STRESS_POINTS], sx = 0, sp = 0, sxx = 0, sxp = 0, spp = 0;
    for (int i = 0; i < n; i++) {
        x[i] = exp(b * log_t[i]);
        sx += x[i];
        sp += p[i];
    }
    sx /= n;
    sp /= n;
    for (int i = 0; i < n; i++) {
        double dx = x[i] - sx, dp = p[i] - sp;
        sxx += dx * dx;
        sxp += dx * dp;
        spp += dp * dp;
    }
    double a = sxx > 0 ? sxp / sxx : 0;
    return (struct line){.a = a, .c = sp - a * sx, .rss = larger(spp - a * sxp, 0)};
}

static double golden(const double *log_t, const double *p, int n)
{
    double low = B_LOW, high = B_HIGH, x1 = high - GOLDEN * (high - low), x2 = low + GOLDEN * (high - low);
    double f1 = line_at(log_t, p, n, x1).rss, f2 = line_at(log_t, p, n, x2).rss;
    while (high - low > B_EXACT) {
        if (f1 <= f2) {
            high = x2;
            x2 = x1;
            f2 = f1;
            x1 = high - GOLDEN * (high - low);
            f1 = line_at(log_t, p, n, x1).rss;
        } else {
            low = x1;
            x1 = x2;
            f1 = f2;
            x2 = low + GOLDEN * (high - low);
            f2 = line_at(log_t, p, n, x2).rss;
        }
    }
    return 0.5 * (low + high);
}

/* The fit linearised at b: its third column is what a change of b adds, less its line in x. */
struct tangent {
    struct line line;
    double step;  /* to the b that it would have best */
    double own;   /* sum of squares of the third column */
    double follow; /* correlation of residuals from one point to the next */
};

static struct tangent tangent_at(const double *log_t, const double *p, int n, double b)
{
    double x[STRESS_POINTS], d[STRESS_POINTS], sx = 0, sp = 0, sd = 0, sxx = 0, sxp = 0, sxd = 0, sdd = 0, sed = 0;
    double next = 0, last = 0, rss = 0;
    for (int i = 0; i < n; i++) {
        x[i] = exp(b * log_t[i]);
        d[i] = x[i] * log_t[i];
        sx += x[i] / n;
        sp += p[i] / n;
        sd += d[i] / n;
    }
    for (int i = 0; i < n; i++) {
        sxx += (x[i] - sx) * (x[i] - sx);
        sxp += (x[i] - sx) * (p[i] - sp);
        sxd += (x[i] - sx) * (d[i] - sd);
        sdd += (d[i] - sd) * (d[i] - sd);
    }
    double a = sxx > 0 ? sxp / sxx : 0, part = sxx > 0 ? sxd / sxx : 0;
    for (int i = 0; i < n; i++) {
        double e = p[i] - sp - a * (x[i] - sx);
        sed += e * (d[i] - sd);
        rss += e * e;
        next += i ? e * last : 0;
        last = e;
    }
    double own = larger(sdd - part * sxd, 0) * a * a;
    return (struct tangent){.line = {.a = a, .c = sp - a * sx, .rss = rss}, .step = own > 0 ? a * sed / own : INFINITY,
                            .own = own, .follow = rss > 0 ? next / rss : 0};
}

/* Gauss and Newton's steps from a straight line, a handful where a curve is near a power law at all; false: they lead
 * nowhere, or near an end. */
static bool quick(const double *log_t, const double *p, int n, double *b, struct tangent *g)
{
    *b = 1;
    for (int k = 0; k < STEPS_MOST; k++) {
        *g = tangent_at(log_t, p, n, *b);
        if (!(fabs(g->step) < STEP_MOST))
            return false;
        *b += g->step;
        if (fabs(g->step) < B_EXACT)
            return *b > B_LOW + 10 * NEAR_BOUND && *b < B_HIGH - 10 * NEAR_BOUND;
    }
    return false;
}

void stress_fit(const double *t_s, const double *p_cmh2o, int n, struct stress_fit *out)
{
    double log_t[STRESS_POINTS], b;
    struct tangent g;
    for (int i = 0; i < n; i++)
        log_t[i] = log(t_s[i]);
    if (!quick(log_t, p_cmh2o, n, &b, &g)) {
        b = golden(log_t, p_cmh2o, n);
        g = tangent_at(log_t, p_cmh2o, n, b);
    }
    *out = (struct stress_fit){.index = b, .a_cmh2o = g.line.a, .c_cmh2o = g.line.c, .rmse_cmh2o = sqrt(g.line.rss / n),
                               .bound = b < B_LOW + NEAR_BOUND || b > B_HIGH - NEAR_BOUND};
    /* Residuals that follow each other hold fewer independent ones: by (1 + r) / (1 - r) with r their correlation from one to
     * the next, of which three fitted numbers take about 3/n away. */
    double r = g.follow < 0 ? 0 : smaller(g.follow + 3.0 / n, 0.95);
    out->se = g.own > 0 ? sqrt(g.line.rss / (n - 3) / g.own * (1 + r) / (1 - r)) : INFINITY;
}

/* Median flow of the time that flow lasts, by means over sixteenths of inspiration: two reads each. */
static double level_of(const struct ring *r, uint64_t from, uint64_t to)
{
    double q[BLOCKS], most = 0;
    int n = 0, kept = 0;
    uint64_t len = (to - from) / BLOCKS;
    for (uint64_t i = from; len > 0 && n < BLOCKS; i += len, n++) {
        q[n] = ring_q_mean(r, i, i + len);
        most = larger(most, q[n]);
    }
    for (int k = 0; k < n; k++)
        if (q[k] > 0.5 * most)
            q[kept++] = q[k];
    return order_median(q, kept);
}

struct window {
    uint64_t from, to; /* samples of flow */
    double flow_l_s;
};

/* Where flow is constant. Means over 20 ms are compared: single samples hold noise, for which their own share is allowed. */
static enum reason constant(const struct ring *r, const struct seg_breath *b, const struct noise *z, uint64_t late,
                            double flow_scale, struct window *w)
{
    uint64_t k = ring_count(r, 0.02), begin = b->i0 + late, end = b->i1 + late;
    end = end < b->i2 ? end : b->i2;
    if (end < begin + BLOCKS)
        return WHY_breath_short;
    double level = level_of(r, begin, end);
    if (!(level > FLOW_LEAST_L_S * flow_scale))
        return WHY_flow_not_constant;
    double off = WITHIN * level + 3 * z->q_sd_l_s / sqrt((double)(int64_t)k);
    while (end > begin + k && ring_q_mean(r, end - k, end) < 0.5 * level) /* a pause, and the fall itself */
        end--;
    uint64_t guard = ring_count(r, BEFORE_END_S), from = begin + ring_count(r, SETTLES_S), to = end > guard ? end - guard : begin;
    if (to < from + k)
        return WHY_breath_short;
    uint64_t last = to; /* backwards, as far as it is constant */
    while (last >= from + k && fabs(ring_q_mean(r, last - k, last) - level) <= off)
        last -= k;
    w->from = last < from + k ? from : last;
    w->to = to;
    w->flow_l_s = level;
    double still = SETTLED * level + 2 * z->q_sd_l_s / sqrt(3.0 * (double)(int64_t)k);
    const uint64_t unsettled = w->from;
    while (w->from + 3 * k < to && fabs(ring_q_mean(r, w->from, w->from + 3 * k) - level) > still)
        w->from++;
    if (w->from > unsettled) /* the middle of the mean that is near */
        w->from += 3 * k / 2;
    if ((double)(w->from - begin) > SETTLES_MOST * (double)(end - begin) && w->from > from)
        return WHY_flow_not_constant;
    /* A slow slope within the band is none that a line through it would find: a tenth over the window is not constant. */
    uint64_t half = (to - w->from) / 2;
    if (half > 0 && fabs(ring_q_mean(r, w->from, w->from + half) - ring_q_mean(r, to - half, to)) > off)
        return WHY_flow_not_constant;
    return WHY_NONE;
}

void stress_read(const struct ring *r, const struct seg_breath *b, const struct noise *z, double lag_s, double flow_scale,
                 struct stress *out)
{
    *out = (struct stress){.why = WHY_not_applicable, .index = (double)NAN, .se = (double)NAN};
    if (!b->machine || !b->has_t1)
        return;
    out->why = WHY_breath_short;
    if (b->t1_ns - b->t0_ns < (int64_t)((SPAN_LEAST_S + SETTLES_S + BEFORE_END_S) * 1e9))
        return;
    struct window w;
    uint64_t late = (uint64_t)(lag_s * r->rate_hz + 0.5);
    out->why = constant(r, b, z, late, flow_scale, &w);
    if (out->why != WHY_NONE)
        return;
    uint64_t from = w.from - late, n = w.to - w.from, stride = (n + STRESS_POINTS - 1) / STRESS_POINTS;
    if ((double)(ring_at(r, from + n - 1)->t_ns - ring_at(r, from)->t_ns) * 1e-9 < SPAN_LEAST_S - 1 / r->rate_hz)
        out->why = WHY_breath_short;
    else if (n < SAMPLES_LEAST)
        out->why = WHY_rate_low;
    else if (ring_at(r, from + n)->hole_l > ring_at(r, from)->hole_l)
        out->why = WHY_gap;
    if (out->why != WHY_NONE)
        return;
    double t[STRESS_POINTS], p[STRESS_POINTS];
    int points = 0;
    for (uint64_t i = from; i + stride <= from + n; i += stride, points++) {
        double first = (double)(ring_at(r, i)->t_ns - b->t0_ns), last = (double)(ring_at(r, i + stride - 1)->t_ns - b->t0_ns);
        t[points] = 0.5e-9 * (first + last);
        p[points] = ring_p_mean(r, i, i + stride);
    }
    struct stress_fit f;
    out->why = WHY_fit_poor;
    out->flow_l_s = w.flow_l_s;
    out->from_s = t[0];
    out->to_s = t[points - 1];
    out->p_from_cmh2o = p[0];
    out->p_to_cmh2o = p[points - 1];
    if (out->p_to_cmh2o - out->p_from_cmh2o < RISE_LEAST)
        return;
    stress_fit(t, p, points, &f);
    out->index = f.index;
    out->se = f.se;
    if (!f.bound && f.rmse_cmh2o <= RMSE_MOST)
        out->why = WHY_NONE;
}

bool stress_alike(const struct stress *a, const struct stress *b)
{
    double rise = a->p_to_cmh2o - a->p_from_cmh2o;
    return a->why == WHY_NONE && b->why == WHY_NONE && fabs(a->flow_l_s - b->flow_l_s) < ALIKE * a->flow_l_s &&
           fabs(a->to_s - b->to_s) < ALIKE * a->to_s && fabs(a->p_to_cmh2o - b->p_to_cmh2o) < larger(ALIKE_CMH2O, ALIKE_RISE * rise);
}

double stress_among(double *index, int n, double own, double *se)
{
    double off[STRESS_AMONG], median = order_median(index, n), sum = 0, square = 0;
    for (int i = 0; i < n; i++)
        off[i] = fabs(index[i] - median);
    const double far = OUTLIER * 1.4826 * order_median(off, n); /* which makes it a standard deviation */
    int kept = 0;
    for (int i = 0; i < n; i++) {
        double d = index[i] - median;
        if (fabs(d) <= far) {
            sum += d;
            square += d * d;
            kept++;
        }
    }
    /* t at 97.5 % over 1.96 is about 1 + 1.3 / (n - 2). */
    double scatter = sqrt((square - sum * sum / kept) / (kept - 1)) * (1 + 1.3 / (kept - 2));
    *se = larger(scatter, own) / sqrt((double)kept);
    return median + sum / kept;
}
