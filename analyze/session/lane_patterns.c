#include "analyze/session/lane_patterns.h"

#include "analyze/session/lane.h"

#define GUARD_NS   (20 * NS_PER_S / 1000)
#define EARLY_NS   (4 * NS_PER_S / 10)
#define TAKES_OVER (NS_PER_S / 10)

static struct pending_row *row_of(struct pending *p, int64_t t0_ns)
{
    for (uint64_t i = p->tail; i > p->head; i--) {
        struct pending_row *r = pending_at(p, i - 1);
        if (r->row.t0_ns <= t0_ns)
            return r->row.t0_ns == t0_ns && !r->dropped ? r : NULL;
    }
    return NULL;
}

static void read_waiting(struct lane *l)
{
    struct expiration_watch *w = &l->expiring;
    struct pending_row *p = w->waits ? row_of(&l->pending, w->b.t0_ns) : NULL;
    w->waits = false;
    if (!p || !w->b.complete || !w->b.has_t1 || w->b.i1 < ring_first(l->ring))
        return;
    int64_t stop = w->b.t2_ns;
    if (p->more.departure && p->more.departure_ns < stop)
        stop = p->more.departure_ns;
    if (w->effort_ns < stop)
        stop = w->effort_ns;
    struct expiration *x = &p->exp;
    x->cut = stop < w->b.t2_ns;
    x->disturbed = w->disturbed;
    if (x->cut)
        stop -= GUARD_NS;
    const bool known = w->m.quality != MECHANICS_NONE;
    x->e_cmh2o_l = known ? w->m.e_cmh2o_l : (double)NAN;
    x->e_sd_ln = known && !isnan(w->m.sd_ln_e) ? w->m.sd_ln_e : 0.3;
    x->e_measured = w->m.source >= SOURCE_HOLD && w->m.quality >= MECHANICS_FAIR;
    x->re_cmh2o_s_l = known ? w->m.re_cmh2o_s_l : (double)NAN;
    x->k2 = known ? w->m.k2 : (double)NAN;
    struct expiration_in in = {.t1_ns = w->b.t1_ns, .end_ns = stop, .i1 = w->b.i1,
                               .end = ring_find(l->ring, w->b.i1, w->b.i2 + 1, stop), .leak_l_s = p->end_base_l_s,
                               .q_sd_l_s = l->noise.q_sd_l_s, .p_sd_cmh2o = l->noise.p_sd_cmh2o,
                               .least_l = l->scale.count_min_l / 2};
    expiration_read(l->ring, &in, x);
}

void lane_expiration(struct lane *l, const struct seg_breath *b, const struct mechanics *m, const struct effort *found, int n)
{
    struct expiration_watch *w = &l->expiring;
    if (w->waits && w->b.t2_ns == b->t0_ns)
        for (int i = 0; i < n; i++) /* who starts in the expiration before and pulls on into this breath */
            if (found[i].start_ns > w->b.t1_ns && found[i].start_ns < w->effort_ns)
                w->effort_ns = found[i].start_ns;
    read_waiting(l);
    *w = (struct expiration_watch){.waits = true, .b = *b, .m = *m, .effort_ns = INT64_MAX};
    for (int i = 0; i < n; i++) {
        if (found[i].end_ns > b->t2_ns - TAKES_OVER && found[i].start_ns > b->t1_ns)
            w->effort_ns = found[i].start_ns < w->effort_ns ? found[i].start_ns : w->effort_ns;
        else if (found[i].end_ns > b->t1_ns + TAKES_OVER)
            w->disturbed = true;
    }
}

void lane_expiration_cut(struct lane *l)
{
    read_waiting(l);
}
