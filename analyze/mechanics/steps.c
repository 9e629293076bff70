#include "analyze/mechanics/steps.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#include <math.h>

#define ROWS       64
#define PIECE_ROWS 60
#define ENOUGH     10
#define AGREE_N    20
#define AGREE_R    0.25
#define AGREE_ON   0.33
#define AGREE_TAU  0.20
#define FALLS      0.75
#define EVERY      4    /* once 60 are known */
#define USUAL_TE_S 1.5  /* in a shorter expiration the windows are shorter */
#define SQUARE     0.70 /* least r squared of a piece of expiration */

struct row {
    double t, p, q, v;
};

/* Means of `width` samples, flow `shift` samples later. */
static int rows_of(const struct ring *r, uint64_t from, uint64_t to, uint64_t shift, int most, struct row *out)
{
    uint64_t stride = (to - from) / (uint64_t)most + 1;
    int n = 0;
    if (from < ring_first(r))
        return 0;
    int64_t t0 = ring_at(r, from)->t_ns;
    for (uint64_t i = from; i + stride <= to && i + stride + shift < r->end && n < most; i += stride, n++) {
        out[n].t = (double)(ring_at(r, i + stride / 2)->t_ns - t0) * 1e-9;
        out[n].p = ring_p_mean(r, i, i + stride);
        out[n].q = ring_q_mean(r, i + shift, i + shift + stride);
        out[n].v = ring_vol_l(r, from + shift, i + shift + stride / 2);
    }
    return n;
}

/* Slope of y on x beside a straight line in t; NAN where x hardly moves off that line. */
static double slope_beside(const struct row *w, int n, double tau)
{
    double st = 0, sx = 0, sy = 0, tt = 0, tx = 0, ty = 0, xx = 0, xy = 0;
    for (int k = 0; k < n; k++) {
        double x = w[k].q + w[k].v / tau;
        st += w[k].t, sx += x, sy += w[k].p;
        tt += w[k].t * w[k].t, tx += w[k].t * x, ty += w[k].t * w[k].p, xx += x * x, xy += x * w[k].p;
    }
    tt -= st * st / n, tx -= st * sx / n, ty -= st * sy / n, xx -= sx * sx / n, xy -= sx * sy / n;
    double rest = xx - tx * tx / tt;
    return tt > 0 && rest > 0.05 * xx ? (xy - tx * ty / tt) / rest : (double)NAN;
}

struct sums {
    double n, v, q, p, vv, vq, qq, pq;
};

static bool straightest(const struct row *w, int n, double piece_s, double *tau, double *rv)
{
    struct sums to[PIECE_ROWS + 1] = {{0}};
    for (int k = 0; k < n; k++) {
        struct sums s = to[k];
        double q = -w[k].q;
        s.n++, s.v += w[k].v, s.q += q, s.p += w[k].p, s.vv += w[k].v * w[k].v, s.vq += w[k].v * q, s.qq += q * q;
        s.pq += w[k].p * q;
        to[k + 1] = s;
    }
    double best = SQUARE;
    int from = 0, until = 0;
    for (int a = 0; a < n; a += 3) {
        for (int b = a + 5; b <= n; b += 3) {
            if (w[b - 1].t - w[a].t < piece_s)
                continue;
            const struct sums *x = &to[a], *y = &to[b];
            double m = y->n - x->n, v = y->v - x->v, q = y->q - x->q;
            double vv = y->vv - x->vv - v * v / m, vq = y->vq - x->vq - v * q / m, qq = y->qq - x->qq - q * q / m;
            double square = vv > 0 && qq > 0 ? vq * vq / (vv * qq) : 0;
            if (vq > 0 && square > best) {
                best = square;
                from = a;
                until = b;
                *tau = vv / vq;
            }
        }
    }
    if (until == 0)
        return false;
    const struct sums *x = &to[from], *y = &to[until];
    double m = y->n - x->n, q = y->q - x->q, p = y->p - x->p, qq = y->qq - x->qq - q * q / m;
    *rv = larger(0, (y->pq - x->pq - p * q / m) / qq);
    return true;
}

void steps_breath(struct steps *s, const struct ring *r, const struct seg_breath *b, double lag_s, double q_sd_l_s)
{
    if (s->seen++ % EVERY && s->n >= STEPS_KEPT)
        return;
    double pace = smaller(1, (double)(b->t2_ns - b->t1_ns) * 1e-9 / USUAL_TE_S);
    uint64_t shift = lag_s > 0 ? (uint64_t)(lag_s * r->rate_hz + 0.5) : 0;
    uint64_t from = b->i1 + ring_count(r, 0.15 * pace), to = b->i1 + ring_count(r, 1.3 * pace), guard = ring_count(r, 0.1);
    if (to + guard > b->i2)
        to = b->i2 > guard ? b->i2 - guard : 0;
    struct row w[ROWS];
    if (to < from + ring_count(r, 0.35 * pace) || b->i0 < ring_first(r) + guard)
        return;
    int n = rows_of(r, from, to, shift, PIECE_ROWS, w), kept = 0;
    while (kept < n && -w[kept].q > 2 * q_sd_l_s) /* until flow is lost in its noise */
        kept++;
    double tau = 0, rv = 0;
    if (kept < 6)
        return;
    if (!straightest(w, kept, 0.35 * pace, &tau, &rv))
        return;
    bool steps = b->machine;
    n = !steps ? 0 : rows_of(r, b->i0 - ring_count(r, 0.08), b->i0 + ring_count(r, 0.14), shift, ROWS, w);
    double on = n >= 5 ? slope_beside(w, n, tau) : (double)NAN;
    n = !steps ? 0 : rows_of(r, b->i1 - ring_count(r, 0.12), b->i1 + ring_count(r, 0.22), shift, ROWS, w);
    double off = n >= 5 ? slope_beside(w, n, tau) : (double)NAN;
    uint64_t k = s->n++ % STEPS_KEPT;
    s->r_on[k] = (float)on;
    s->r_off[k] = (float)off;
    s->tau[k] = (float)tau;
    s->rv[k] = (float)rv;
}

static int finite_of(const float *from, int n, double *to)
{
    int m = 0;
    for (int k = 0; k < n; k++)
        if (from[k] > 0 || from[k] == 0) /* not NAN, and no slope of the wrong sign */
            to[m++] = (double)from[k];
    return m;
}

double steps_on(const struct steps *s)
{
    double v[STEPS_KEPT];
    int n = finite_of(s->r_on, s->n < STEPS_KEPT ? (int)s->n : STEPS_KEPT, v);
    if (n < ENOUGH)
        return (double)NAN;
    const double middle = order_median(v, n);
    for (int k = 0; k < n; k++)
        v[k] = fabs(v[k] - middle);
    return 1.4826 * order_median(v, n) <= AGREE_ON * middle ? middle : (double)NAN;
}

void steps_now(const struct steps *s, struct steps_now *out)
{
    double v[STEPS_KEPT];
    int n = s->n < STEPS_KEPT ? (int)s->n : STEPS_KEPT;
    *out = (struct steps_now){.e_cmh2o_l = (double)NAN, .r_cmh2o_s_l = (double)NAN, .spread = (double)NAN,
                              .tau_s = (double)NAN};
    if (n < ENOUGH)
        return;
    int n_on = finite_of(s->r_on, n, v);
    double on = n_on ? order_median(v, n_on) : (double)NAN;
    int n_off = finite_of(s->r_off, n, v);
    double off = n_off ? order_median(v, n_off) : (double)NAN;
    double rv = order_median(v, finite_of(s->rv, n, v)), tau = order_median(v, finite_of(s->tau, n, v));
    for (int k = 0; k < n; k++)
        v[k] = fabs((double)s->tau[k] - tau) / tau;
    out->spread = 1.4826 * order_median(v, n);
    out->tau_s = tau;
    if (n_on < ENOUGH && n_off < ENOUGH)
        return;
    bool both = n_on >= ENOUGH && n_off >= ENOUGH;
    out->r_cmh2o_s_l = !both ? (n_on > n_off ? on : off) : off < FALLS * on ? on : 0.5 * (on + off);
    out->e_cmh2o_l = (out->r_cmh2o_s_l + rv) / tau;
    out->agree = both && fabs(on - off) <= AGREE_R * larger(on, off) && out->spread <= AGREE_TAU && n >= AGREE_N;
}
