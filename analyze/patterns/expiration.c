#include "analyze/patterns/expiration.h"

#define POINTS      48
#define SHORTEST_S  0.15
#define END_S       0.05
#define OPENED_S    0.1  /* the valve opens, the circuit empties */
#define DROP_S      0.15
#define PEAK_S      0.02
#define PEAK_WITHIN 0.4  /* of expiration */
#define TAIL_FROM   0.3
#define TAIL_TO     0.9
#define LAST_PART   0.5
#define TAIL_LEAST  6

struct line {
    double n, x, y, xx, xy, yy;
};

static void add(struct line *l, double x, double y)
{
    l->n += 1;
    l->x += x;
    l->y += y;
    l->xx += x * x;
    l->xy += x * y;
    l->yy += y * y;
}

/* Slope of y on x and its standard deviation; false: no spread of x. */
static bool slope(const struct line *l, double *b, double *sd)
{
    double sxx = l->xx - l->x * l->x / l->n, sxy = l->xy - l->x * l->y / l->n, syy = l->yy - l->y * l->y / l->n;
    if (l->n < TAIL_LEAST || !(sxx > 1e-12))
        return false;
    *b = sxy / sxx;
    *sd = sqrt(fmax(syy - *b * sxy, 0) / ((l->n - 2) * sxx));
    return true;
}

static double flow_out(const struct ring *r, uint64_t from, uint64_t to, double leak_l_s)
{
    return leak_l_s - ring_q_mean(r, from, to);
}

/* Largest mean of 20 ms early in expiration; *at: its first sample. */
static double peak(const struct ring *r, const struct expiration_in *in, uint64_t *at)
{
    uint64_t n = ring_count(r, PEAK_S), until = in->i1 + (uint64_t)(PEAK_WITHIN * (double)(in->end - in->i1));
    double most = -1e9;
    *at = in->i1;
    for (uint64_t k = in->i1; k + n <= until; k++) {
        double q = flow_out(r, k, k + n, in->leak_l_s);
        if (q > most) {
            most = q;
            *at = k;
        }
    }
    return most;
}

static void tail(const struct ring *r, const struct expiration_in *in, const struct line *l, struct expiration *x)
{
    double b, sd;
    uint64_t at, n = ring_count(r, PEAK_S), later = ring_count(r, DROP_S);
    x->why_tail = WHY_breath_short;
    if (!slope(l, &b, &sd))
        return;
    x->why_tail = WHY_below_resolution;
    if (b > -0.05 || sd > -0.3 * b) /* flow does not fall with volume by more than it scatters */
        return;
    x->tau_s = -1 / b;
    x->q0_l_s = (l->y - b * l->x) / l->n;
    double most = peak(r, in, &at);
    if (!(most > 0) || at + later + n > in->end)
        return;
    x->peak_ratio = most / x->q0_l_s;
    x->drop = 1 - flow_out(r, at + later, at + later + n, in->leak_l_s) / most;
    x->why_tail = WHY_NONE;
}

void expiration_read(const struct ring *r, const struct expiration_in *in, struct expiration *x)
{
    const double none = (double)NAN;
    x->end_ns = in->end_ns;
    x->leak_l_s = in->leak_l_s;
    x->te_s = (double)(in->end_ns - in->t1_ns) * 1e-9;
    x->r_end_cmh2o_s_l = x->r_end_sd = x->tau_s = x->q0_l_s = x->peak_ratio = x->drop = x->q_end_l_s = x->vte_l = none;
    x->out = (struct outflow){none, none, none, none, none, none, none, none};
    x->why = x->why_tail = WHY_breath_short;
    uint64_t last = ring_count(r, END_S);
    if (x->te_s < SHORTEST_S || in->end < in->i1 + last + 2)
        return;
    x->q_end_l_s = flow_out(r, in->end + 1 - last, in->end + 1, in->leak_l_s);
    x->vte_l = in->leak_l_s * x->te_s - ring_vol_l(r, in->i1, in->end);
    if (x->vte_l < in->least_l)
        return;
    x->why = WHY_NONE;
    uint64_t n = in->end - in->i1, step = n > POINTS ? n / POINTS : 1;
    double e = isnan(x->e_cmh2o_l) ? 0 : x->e_cmh2o_l;
    int64_t opened = in->t1_ns + (int64_t)(OPENED_S * 1e9);
    struct line whole = {0}, end = {0};
    for (uint64_t k = in->i1; k + step <= in->end; k += step) {
        int64_t t = ring_at(r, k)->t_ns;
        if (t < opened)
            continue;
        double q = flow_out(r, k, k + step, in->leak_l_s), p = ring_p_mean(r, k, k + step);
        uint64_t middle = k + step / 2;
        double v = in->leak_l_s * (double)(ring_at(r, middle)->t_ns - in->t1_ns) * 1e-9 - ring_vol_l(r, in->i1, middle);
        double share = v / x->vte_l;
        if (share >= TAIL_FROM && share <= TAIL_TO)
            add(&whole, v, q);
        if (share >= LAST_PART)
            add(&end, q, -e * v - p);
    }
    double b, sd;
    double spread = in->q_sd_l_s / sqrt((double)step);
    if (e > 0 && slope(&end, &b, &sd) && (end.xx - end.x * end.x / end.n) / end.n > 9 * spread * spread && b > 0) {
        x->r_end_cmh2o_s_l = b;
        x->r_end_sd = sd;
    }
    tail(r, in, &whole, x);
    if (in->machine)
        outflow_read(r, in->i1, in->end, in->lag_s, in->leak_l_s, x->vte_l, &x->out);
}
