#include "analyze/breath/ring.h"

#include <stdlib.h>
#include <string.h>

int ring_init(struct ring *r, double rate_hz, int64_t gap_limit_ns, double seconds_kept)
{
    memset(r, 0, sizeof *r);
    uint64_t cap = 64;
    while ((double)cap < rate_hz * seconds_kept + 2)
        cap *= 2;
    r->slot = calloc(cap, sizeof *r->slot);
    if (!r->slot)
        return TM_ERR_MEMORY;
    r->mask = cap - 1;
    r->rate_hz = rate_hz;
    r->gap_limit_ns = gap_limit_ns;
    return TM_OK;
}

void ring_free(struct ring *r)
{
    free(r->slot);
    r->slot = NULL;
}

void ring_push(struct ring *r, int64_t t_ns, double p, double q)
{
    struct ring_slot *s = &r->slot[r->end & r->mask];
    s->t_ns = t_ns;
    s->p = p;
    s->q = q;
    if (r->end == r->begin) {
        /* A new run starts its sums at zero: they never grow with the recording by more than a run. */
        s->vol_l = s->p_s = s->hole_l = 0;
        s->q_sum = q;
        s->p_sum = p;
    } else {
        const struct ring_slot *b = &r->slot[(r->end - 1) & r->mask];
        int64_t step_ns = t_ns - b->t_ns;
        double dt_s = (double)step_ns * 1e-9;
        s->q_sum = b->q_sum + q;
        s->p_sum = b->p_sum + p;
        if (step_ns > r->gap_limit_ns) {
            double larger = fabs(q) > fabs(b->q) ? fabs(q) : fabs(b->q);
            s->vol_l = b->vol_l;
            s->p_s = b->p_s;
            s->hole_l = b->hole_l + larger * dt_s;
        } else {
            s->vol_l = b->vol_l + 0.5 * (q + b->q) * dt_s;
            s->p_s = b->p_s + 0.5 * (p + b->p) * dt_s;
            s->hole_l = b->hole_l;
        }
    }
    r->end++;
}

size_t ring_push_plain(struct ring *r, const int64_t *t_ns, const double *p, const double *q, size_t n)
{
    if (r->end == r->begin)
        return 0;
    /* What the loop carries stays in registers. */
    struct ring_slot *const slot = r->slot;
    const struct ring_slot last = *ring_at(r, r->end - 1);
    const uint64_t mask = r->mask, end = r->end;
    const int64_t limit_ns = r->gap_limit_ns;
    int64_t t = last.t_ns;
    double p0 = last.p, q0 = last.q, vol_l = last.vol_l, p_s = last.p_s, q_sum = last.q_sum, p_sum = last.p_sum;
    size_t k = 0;
    for (; k < n; k++) {
        const double p1 = p[k], q1 = q[k], sum = p1 + q1;
        const int64_t step_ns = t_ns[k] - t;
        if (step_ns > limit_ns || !(sum - sum == 0))
            break;
        const double dt_s = (double)step_ns * 1e-9;
        vol_l += 0.5 * (q1 + q0) * dt_s;
        p_s += 0.5 * (p1 + p0) * dt_s;
        q_sum += q1;
        p_sum += p1;
        t = t_ns[k];
        p0 = p1;
        q0 = q1;
        struct ring_slot *to = &slot[(end + k) & mask];
        to->t_ns = t;
        to->p = p0;
        to->q = q0;
        to->vol_l = vol_l;
        to->p_s = p_s;
        to->q_sum = q_sum;
        to->p_sum = p_sum;
        to->hole_l = last.hole_l;
    }
    r->end += k;
    return k;
}

uint64_t ring_find(const struct ring *r, uint64_t from, uint64_t to, int64_t t_ns)
{
    if (to <= from || ring_at(r, from)->t_ns > t_ns)
        return from;
    uint64_t lo = from, hi = to; /* slot lo is at or before t_ns, hi is after or the end */
    while (hi - lo > 1) {
        uint64_t mid = lo + (hi - lo) / 2;
        if (ring_at(r, mid)->t_ns <= t_ns)
            lo = mid;
        else
            hi = mid;
    }
    return lo;
}
