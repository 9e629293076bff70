#include "analyze/session/lane_patterns.h"

#include "analyze/session/lane.h"

#define GUARD_S    0.06 /* an effort has begun a little before it shows */
#define TRIGGER_MOST_S 0.5
#define EFFORT_MOST_S  0.8 /* an effort pulls no longer before it is answered, but against much trapped gas */
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
    /* A departure long before the next breath is the end of an earlier effort or a push, where efforts can be told. */
    int64_t earliest = w->m.quality >= MECHANICS_FAIR ? stop - (int64_t)(TRIGGER_MOST_S * l->scale.time * 1e9) : 0;
    if (p->more.departure && p->more.departure_ns < stop && p->more.departure_ns > earliest)
        stop = p->more.departure_ns;
    struct expiration *x = &p->exp;
    x->effort_cmh2o = (double)NAN;
    if (w->effort_ns < stop) {
        stop = w->effort_ns;
        x->effort_cmh2o = w->effort_cmh2o;
    }
    x->cut = stop < w->b.t2_ns;
    x->disturbed = w->disturbed;
    x->braked = w->braked;
    if (x->cut)
        stop -= (int64_t)(GUARD_S * l->scale.time * 1e9);
    const bool known = w->m.quality != MECHANICS_NONE;
    x->e_cmh2o_l = known ? w->m.e_cmh2o_l : (double)NAN;
    x->e_sd_ln = known && !isnan(w->m.sd_ln_e) ? w->m.sd_ln_e : 0.3;
    x->e_measured = w->m.source >= SOURCE_HOLD && w->m.quality >= MECHANICS_FAIR;
    x->re_cmh2o_s_l = known ? w->m.re_cmh2o_s_l : (double)NAN;
    x->k2 = known ? w->m.k2 : (double)NAN;
    x->ri_cmh2o_s_l = w->m.source >= SOURCE_HOLD ? w->m.ri_cmh2o_s_l : steps_on(&l->steps);
    struct expiration_in in = {.t1_ns = w->b.t1_ns, .end_ns = stop, .i1 = w->b.i1,
                               .end = ring_find(l->ring, w->b.i1, w->b.i2 + 1, stop), .leak_l_s = p->end_base_l_s,
                               .q_sd_l_s = l->noise.q_sd_l_s, .p_sd_cmh2o = l->noise.p_sd_cmh2o,
                               .least_l = l->scale.count_min_l / 2, .machine = w->b.machine, .lag_s = l->lag.lag_s};
    expiration_read(l->ring, &in, x);
}

/* The waiting expiration's flow ends with this effort, if it starts in it and not long before its end. */
static void ends_with(const struct lane *l, struct expiration_watch *w, const struct effort *e)
{
    int64_t earliest = w->b.t2_ns - (int64_t)(EFFORT_MOST_S * l->scale.time * 1e9);
    if (e->start_ns <= w->b.t1_ns || e->start_ns < earliest || e->start_ns >= w->effort_ns)
        return;
    w->effort_ns = e->start_ns;
    w->effort_cmh2o = e->peak_cmh2o;
}

void lane_expiration(struct lane *l, const struct seg_breath *b, const struct mechanics *m, const struct effort *found, int n)
{
    struct expiration_watch *w = &l->expiring;
    if (w->waits && w->b.t2_ns == b->t0_ns)
        for (int i = 0; i < n; i++) /* who starts in the expiration before and pulls on into this breath */
            ends_with(l, w, &found[i]);
    read_waiting(l);
    *w = (struct expiration_watch){.waits = true, .b = *b, .m = *m, .effort_ns = INT64_MAX};
    for (int i = 0; i < n; i++) {
        if (found[i].end_ns > b->t2_ns - TAKES_OVER && found[i].start_ns > b->t1_ns)
            ends_with(l, w, &found[i]);
        else if (found[i].end_ns > b->t1_ns + TAKES_OVER) {
            w->disturbed = true;
            w->braked = w->braked || found[i].peak_ns > b->t1_ns;
        }
    }
}

void lane_expiration_cut(struct lane *l)
{
    read_waiting(l);
}
