#include "analyze/patterns/outflow.h"

#define PART_S       0.02
#define BEFORE_S     0.03
#define FLOOR_S      0.1
#define PEAK_WITHIN  0.4 /* of expiration */
#define AFTER_S      0.15
#define AFTER_WITHIN 0.2 /* of expiration */
#define DRIVE_LEAST  2.0 /* cmH2O */

static double most(const struct ring *r, uint64_t from, uint64_t to, uint64_t n, uint64_t *at)
{
    double q = -1e9;
    *at = from;
    for (uint64_t k = from; k + n <= to; k++) {
        double now = -ring_q_mean(r, k, k + n);
        if (now > q) {
            q = now;
            *at = k;
        }
    }
    return q;
}

void outflow_read(const struct ring *r, uint64_t i1, uint64_t end, double lag_s, double leak_l_s, double vte_l, struct outflow *x)
{
    const uint64_t n = ring_count(r, PART_S), before = ring_count(r, BEFORE_S), last = ring_count(r, FLOOR_S);
    const uint64_t shift = lag_s > 0 ? (uint64_t)(lag_s * r->rate_hz + 0.5) : 0;
    const double none = (double)NAN;
    *x = (struct outflow){none, none, none, none, none, none, none, none};
    if (i1 < ring_first(r) + before || end < i1 + last + 2 * n + shift || !(vte_l > 0))
        return;
    x->q_in_l_s = ring_q_mean(r, i1 - before + shift, i1 + shift);
    x->rises = 0;
    const double peep = ring_p_mean(r, end - last, end);
    x->drive_cmh2o = ring_p_mean(r, i1 - before, i1) - peep;
    uint64_t peak, length = end - i1;
    x->most_l_s = leak_l_s + most(r, i1, i1 + (uint64_t)(PEAK_WITHIN * (double)length), n, &peak);
    if (!(x->drive_cmh2o > DRIVE_LEAST) || peak < i1 + shift)
        return;
    double least = x->most_l_s;
    for (uint64_t k = peak; k + 2 * n < end; k += n) {
        double q = leak_l_s - ring_q_mean(r, k, k + 2 * n);
        least = least < q ? least : q;
        x->rises = fmax(x->rises, (q - least) / x->most_l_s);
    }
    uint64_t until = peak + ring_count(r, fmin(AFTER_S, AFTER_WITHIN * (double)length / r->rate_hz));
    if (until + n < end) {
        x->open_l_s = leak_l_s - ring_q_mean(r, until, until + n);
        x->open_cmh2o = ring_p_mean(r, until - shift, until - shift + n) - peep;
        x->open_l = leak_l_s * (double)(until - i1) / r->rate_hz - ring_vol_l(r, i1 + shift, until + n / 2);
    }
    for (uint64_t k = peak + 1; k <= until && k + n < end; k++) {
        double fell = ring_p_mean(r, peak - shift, peak - shift + n) - ring_p_mean(r, k - shift, k - shift + n);
        double went = leak_l_s * (double)(k - peak) / r->rate_hz - ring_vol_l(r, peak + n / 2, k + n / 2);
        double beyond = fell / x->drive_cmh2o - went / vte_l;
        x->yield = x->yield > beyond ? x->yield : beyond;
    }
}
