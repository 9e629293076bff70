#include "analyze/mechanics/leak_shape.h"

#include "analyze/breath/extreme.h"
#include "analyze/mechanics/lag.h"

#define SHARE_LEAST 0.02
#define BETTER      0.97 /* of the even spread's residual */

enum spread { EVEN, ROOT, ABOVE, SPREADS };

static double weight(enum spread way, double p, double p_low)
{
    return way == EVEN ? 1 : way == ROOT ? sqrt(larger(p, 0)) : larger(p - p_low, 0);
}

/* Takes net_l out by one spread where it was taken out by another. */
static void respread(struct motion_samples *s, double net_l, double p_low, enum spread from, enum spread to)
{
    double total_from = 0, total_to = 0, lost_from = 0, lost_to = 0;
    for (int i = 0; i < s->n; i++) {
        total_from += weight(from, s->p[i], p_low);
        total_to += weight(to, s->p[i], p_low);
    }
    if (total_from <= 0 || total_to <= 0)
        return;
    double flow = net_l * s->n / s->ttot_s;
    for (int i = 0; i < s->n; i++) {
        double a = weight(from, s->p[i], p_low) / total_from, b = weight(to, s->p[i], p_low) / total_to;
        lost_from += a;
        lost_to += b;
        s->v[i] += net_l * (lost_from - 0.5 * a - lost_to + 0.5 * b);
        /* An even drift is taken out of volume only: as a flow, a zero that is off is lost in P0. */
        s->q[i] += flow * ((from == EVEN ? 0 : a) - (to == EVEN ? 0 : b));
    }
}

void leak_shape(struct motion_samples *s, double net_l, double *work)
{
    double v_low = INFINITY, v_high = -INFINITY, p_low = INFINITY, rss[SPREADS];
    for (int i = 0; i < s->n; i++) {
        v_low = smaller(v_low, s->v[i]);
        v_high = larger(v_high, s->v[i]);
        p_low = smaller(p_low, s->p[i]);
    }
    if (s->n < 8 || net_l < SHARE_LEAST * (v_high - v_low))
        return;
    enum spread best = EVEN;
    rss[EVEN] = lag_misfit(s, work);
    for (enum spread w = ROOT; w < SPREADS; w++) {
        respread(s, net_l, p_low, EVEN, w);
        rss[w] = lag_misfit(s, work);
        respread(s, net_l, p_low, w, EVEN);
        if (rss[w] < rss[best] && rss[w] < BETTER * rss[EVEN])
            best = w;
    }
    respread(s, net_l, p_low, EVEN, best);
}
