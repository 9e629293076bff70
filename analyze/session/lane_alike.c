#include "analyze/session/lane_alike.h"

#include "analyze/breath/extreme.h"
#include "analyze/patterns/alike.h"
#include "analyze/session/lane.h"
#include "analyze/session/lane_breath.h"

#define RATE_LEAST   49.0 /* Hz */
#define SAW_S        0.05 /* half periods: 10 Hz */
#define SLOSH_S      0.08 /* 6 Hz */
#define TURN_S       0.12 /* the valve's own step */
#define FAST_SHARE   0.25 /* of the peak of expired flow */
#define FAST_L_S     0.12
#define BEFORE_S     0.1  /* the next breath */
#define LATE_SHARE   0.4
#define INTO_S       0.3  /* an inflation's own rise */
#define USUAL_SLOWLY 0.2
#define AFTER_COUGH_NS NS_PER_S

void lane_alike_init(struct alike_watch *a)
{
    cardiac_init(&a->cardiac);
    hiccup_init(&a->hiccup);
}

/* With gas that the sensor does not see nothing that counts volume holds. */
static void added_gas(struct breath_row *row)
{
    static const enum col wrong[] = {COL_vti_ml, COL_vte_ml, COL_vt_ml_kg, COL_leak_pct, COL_ve_l_min, COL_end_exp_flow_l_s,
                                     COL_cdyn_ml_cmh2o};
    row_quality(row, WHY_added_flow);
    pending_take_back(row, WHY_added_flow);
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        row_empty(row, wrong[i], WHY_added_flow);
}

static void mark_row(struct pending_row *r, unsigned bits)
{
    r->alike |= (uint8_t)bits;
    if (bits & ALIKE_COUGH) {
        row_quality(&r->row, WHY_artefact);
        pending_take_back(&r->row, WHY_artefact);
    }
    if (bits & ALIKE_ADDED_GAS)
        added_gas(&r->row);
}

static void mark(struct pending *p, int64_t from_ns, int64_t to_ns, unsigned bits)
{
    for (uint64_t i = p->tail; i > p->head; i--) {
        struct pending_row *r = pending_at(p, i - 1);
        if (r->row.t2_ns <= from_ns)
            return;
        if (r->row.t0_ns < to_ns)
            mark_row(r, bits);
    }
}

/* A finding of many breaths: with its opening the rows since its start, then each as it comes. */
static void lasting(struct lane *l, bool was, bool is, int64_t start_ns, struct pending_row *p, enum alike bit)
{
    if (is && !was)
        mark(&l->pending, start_ns, INT64_MAX, (unsigned)bit);
    else if (is)
        mark_row(p, (unsigned)bit);
}

/* Where expired flow is no longer fast. */
static uint64_t fast_until(const struct ring *r, const struct seg_breath *b, uint64_t from, double flow_scale)
{
    const uint64_t n = ring_count(r, 0.03);
    double most = 0;
    for (uint64_t i = from; i + n <= b->i2; i += n) {
        const double out = -ring_q_mean(r, i, i + n);
        most = larger(most, out);
        if (out < larger(FAST_SHARE * most, FAST_L_S * flow_scale))
            return i;
    }
    return b->i2;
}

static void secretions(struct lane *l, const struct seg_breath *b, uint64_t late_to, struct pending_row *p)
{
    struct alike_watch *a = &l->alike;
    struct event e;
    const bool was = a->secretions.episode.open;
    const uint64_t from = b->i1 + ring_count(l->ring, TURN_S), until = fast_until(l->ring, b, from, l->scale.flow);
    a->a.n = a->b.n = 0;
    if (!a->condensate.episode.open) /* which moves the flow as well */
        ripple_read(l->ring, &l->noise, RIPPLE_FLOW, SAW_S, from, until, &a->a);
    if (a->a.n > 0 && a->a.rms > 1.4 * a->a.noise)
        ripple_read(l->ring, &l->noise, RIPPLE_FLOW, SAW_S, until, late_to, &a->b);
    if (secretions_breath(&a->secretions, b, &a->a, &a->b, l->scale.flow, &e))
        lane_event(l, &e);
    lasting(l, was, a->secretions.episode.open, a->secretions.episode.start_ns, p, ALIKE_SECRETIONS);
}

static void condensate(struct lane *l, const struct seg_breath *b, uint64_t late_to, struct pending_row *p)
{
    struct alike_watch *a = &l->alike;
    struct event e;
    const bool was = a->condensate.episode.open;
    const uint64_t late = b->i1 + (uint64_t)(LATE_SHARE * (double)(b->i2 - b->i1));
    ripple_read(l->ring, &l->noise, RIPPLE_PRESSURE, SLOSH_S, late, late_to, &a->a);
    a->b.n = a->c.n = 0;
    if (a->a.n > 0 && a->a.rms > 1.4 * a->a.noise) { /* most breaths are still */
        ripple_read(l->ring, &l->noise, RIPPLE_FLOW, SLOSH_S, late, late_to, &a->b);
        ripple_read(l->ring, &l->noise, RIPPLE_PRESSURE, SLOSH_S, b->i0 + ring_count(l->ring, INTO_S * l->scale.time),
                    b->i1 > ring_count(l->ring, 0.05) ? b->i1 - ring_count(l->ring, 0.05) : 0, &a->c);
    }
    if (condensate_breath(&a->condensate, b, &a->a, &a->b, &a->c, l->scale.flow, &e))
        lane_event(l, &e);
    lasting(l, was, a->condensate.episode.open, a->condensate.episode.start_ns, p, ALIKE_CONDENSATE);
}

static void heart(struct lane *l, const struct seg_breath *b, struct pending_row *p)
{
    struct cardiac *c = &l->alike.cardiac;
    struct event e;
    const bool was = c->open;
    const struct cardiac_efforts w = {.effort = l->pending.efforts, .n = l->pending.n_efforts,
                                      .departed_ns = p->more.departure ? p->more.departure_ns : b->t2_ns};
    if (cardiac_breath(c, l->ring, &l->noise, b, &w, l->heart_resid_l_s, &l->scale, &e))
        lane_event(l, &e);
    lasting(l, was, c->open, c->start_ns, p, ALIKE_HEART);
    for (uint64_t i = l->pending.tail; c->open && i > l->pending.head && pending_at(&l->pending, i - 1)->row.t2_ns > c->start_ns; i--) {
        if (pending_at(&l->pending, i - 1)->hr_per_min > 0)
            break;
        pending_at(&l->pending, i - 1)->hr_per_min = c->rate_known ? c->hr_per_min : 0;
    }
}

static void balance(struct lane *l, struct pending_row *p)
{
    struct alike_watch *a = &l->alike;
    struct event e;
    const bool was = a->nebulisation.open;
    const double net_l = p->more.net_l;
    if (leak_breath(&a->leak, &p->row, net_l, &e))
        lane_event(l, &e);
    if (nebulisation_breath(&a->nebulisation, &p->row, net_l, &e))
        lane_event(l, &e);
    lasting(l, was, a->nebulisation.open, a->nebulisation.start_ns, p, ALIKE_ADDED_GAS);
}

void lane_alike_breath(struct lane *l, const struct seg_breath *b, struct pending_row *p, bool ordinary)
{
    if (!ordinary || !b->has_t1)
        return;
    const uint64_t before = ring_count(l->ring, BEFORE_S), late_to = b->i2 > before ? b->i2 - before : 0;
    if (l->ring->rate_hz >= RATE_LEAST) {
        condensate(l, b, late_to, p);
        secretions(l, b, late_to, p);
    }
    heart(l, b, p);
    balance(l, p);
}

void lane_alike_forget(struct lane *l, int64_t from_ns)
{
    struct event e;
    if (leak_watch_forget(&l->alike.leak, from_ns, &e))
        lane_event(l, &e);
}

void lane_alike_curve(struct lane *l, const struct seg_breath *b)
{
    struct cough_spike found[COUGH_SPIKES];
    struct event e;
    struct cough *k = &l->alike.cough;
    const struct cough_in in = {.from_ns = b->t0_ns, .turn_ns = b->t1_ns, .to_ns = b->t2_ns, .flow_scale = l->scale.flow,
                                .usual_out_l_s = k->usual_out_l_s > 0 ? k->usual_out_l_s : (double)NAN};
    const int n = cough_spikes(&l->curve, &in, found);
    if (n == 0) {
        const double peak = cough_peak_out(&l->curve, b->t1_ns);
        k->usual_out_l_s += (k->usual_out_l_s > 0 ? USUAL_SLOWLY : 1) * (peak - k->usual_out_l_s);
    }
    const bool habit = cough_is_habit(k, n > 0);
    for (int i = 0; !habit && i < n; i++) {
        if (cough_spike(k, &found[i], &e))
            lane_event(l, &e);
        if (cough_is(k))
            mark(&l->pending, k->start_ns, found[i].to_ns + AFTER_COUGH_NS, ALIKE_COUGH);
    }
    if (cough_until(&l->alike.cough, b->t2_ns, &e))
        lane_event(l, &e);
}

void lane_alike_effort(struct lane *l, struct effort *e)
{
    struct event ev;
    struct pending *p = &l->pending;
    const struct cough *k = &l->alike.cough;
    bool opened;
    if (e->end_ns > k->start_ns && e->start_ns < k->end_ns + AFTER_COUGH_NS && k->end_ns > 0) /* a cough is let go as fast */
        return;
    if (hiccup_effort(&l->alike.hiccup, e, l->infant ? 0.5 : 1, &opened, &ev))
        lane_event(l, &ev);
    for (int i = p->n_efforts - 1; opened && i >= 0 && p->efforts[i].start_ns >= l->alike.hiccup.start_ns; i--)
        p->efforts[i].hiccup = hiccup_jerk(&p->efforts[i], l->infant ? 0.5 : 1);
}

void lane_alike_cut(struct lane *l)
{
    struct alike_watch *a = &l->alike;
    struct event e;
    if (secretions_cut(&a->secretions, &e))
        lane_event(l, &e);
    if (condensate_cut(&a->condensate, &e))
        lane_event(l, &e);
    if (leak_cut(&a->leak, &e))
        lane_event(l, &e);
    if (nebulisation_cut(&a->nebulisation, &e))
        lane_event(l, &e);
    if (cardiac_cut(&a->cardiac, &e))
        lane_event(l, &e);
    if (cough_until(&a->cough, INT64_MAX, &e))
        lane_event(l, &e);
    if (hiccup_until(&a->hiccup, INT64_MAX, &e))
        lane_event(l, &e);
}
