#include "analyze/breath/onset_fit.h"

#define BEFORE_S   0.12
#define NOISY      0.03 /* noise over the rise: from here on a longer stretch before it, and more of it, are worth their bend */
#define LONG_S     0.22
#define MORE_RISEN 0.40
#define EARLIER_S  0.08
#define AFTER_S    0.10
#define RISEN      0.35
#define POINTS_MAX 96
#define BEFORE_MIN 4
#define AFTER_MIN  3
#define RAMP_GAIN  4.0 /* shares of the residual: 2 sd ... */
#define SURE_GAIN  9.0 /* ... and 3 where noise is heavy */

struct window {
    double p[POINTS_MAX];
    int n;
    double sp, su, suu, spu, spp; /* sums; u is the index */
};

/* What is left of the sum of squares when 1, u and w are taken out, w = (u - s)^power from s on; a fall is no start. */
static double rest_with(const struct window *x, int s, bool square)
{
    double sw = 0, sww = 0, swu = 0, swp = 0, n = x->n;
    for (int i = s + 1; i < x->n; i++) {
        double w = i - s;
        if (square)
            w *= w;
        sw += w;
        sww += w * w;
        swu += w * i;
        swp += w * x->p[i];
    }
    double vuu = x->suu - x->su * x->su / n, vup = x->spu - x->su * x->sp / n, vpp = x->spp - x->sp * x->sp / n;
    double vuw = swu - x->su * sw / n, vww = sww - sw * sw / n - vuw * vuw / vuu;
    double vwp = swp - sw * x->sp / n - vuw * vup / vuu;
    double line = vpp - vup * vup / vuu;
    return vwp > 0 && vww > 0 ? line - vwp * vwp / vww : line;
}

uint64_t onset_fit(const struct ring *r, uint64_t first, uint64_t end, uint64_t at, double p_foot, double p_step,
                   double p_sd, uint64_t *steady)
{
    bool noisy = p_sd > NOISY * p_step;
    *steady = at;
    uint64_t grid = r->rate_hz > 250 ? (uint64_t)(r->rate_hz / 125) : 1;
    uint64_t before = ring_count(r, noisy ? LONG_S : BEFORE_S), most = ring_count(r, AFTER_S), to = at + 1;
    while (to + grid < end && to < at + most && ring_at(r, to)->p - p_foot < (noisy ? MORE_RISEN : RISEN) * p_step)
        to++;
    uint64_t from = at > first + before ? at - before : first;
    struct window x = {.n = 0};
    for (uint64_t j = from; j + grid <= to + 1 && j + grid <= end && x.n < POINTS_MAX; j += grid) {
        double p = ring_p_mean(r, j, j + grid), u = x.n;
        x.p[x.n++] = p - p_foot;
        p -= p_foot;
        x.sp += p, x.spp += p * p, x.spu += p * u, x.su += u, x.suu += u * u;
    }
    int now = (int)((at - from) / grid), back = (int)(ring_count(r, EARLIER_S) / grid), best = now;
    if (now < BEFORE_MIN || x.n < now + AFTER_MIN)
        return at;
    double least = INFINITY, least_ramp = INFINITY;
    int ramp = now;
    for (int s = now > back + BEFORE_MIN ? now - back : BEFORE_MIN; s <= now + 1 && s < x.n - 1; s++) {
        double by_ramp = rest_with(&x, s, false), rest = rest_with(&x, s, true);
        if (by_ramp < least_ramp) {
            least_ramp = by_ramp;
            ramp = s;
        }
        if (rest < least) {
            least = rest;
            best = s;
        }
    }
    /* Noise hides a soft start, and then a ramp, which starts later, fits as well. */
    if (least - least_ramp > (noisy ? SURE_GAIN : RAMP_GAIN) * least / x.n)
        best = ramp;
    *steady = from + (uint64_t)ramp * grid + (grid - 1) / 2;
    return from + (uint64_t)best * grid + (grid - 1) / 2;
}
