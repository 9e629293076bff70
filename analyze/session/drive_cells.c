#include "analyze/session/drive_cells.h"

#include "analyze/breath/order.h"

#define WINDOW_NS    (60 * NS_PER_S)
#define LEAST        5    /* breaths in a minute */
#define CHANGED      3.0  /* cmH2O of support within a window */
#define HEART_CMH2O  0.6  /* a beat moves the start of an effort */
#define RATE_LEAST   50.0
#define LEAK_PCT     40.0
#define AGREE_NS     (NS_PER_S / 10) /* two signs of one start */
#define OTHERS       10   /* of so many breaths one may be of another kind, or taken for it */

static bool noted(const struct breath_row *row, enum reason code)
{
    return row->quality & (UINT64_C(1) << code);
}

void drive_effort(struct pending *p, const struct effort *e)
{
    for (uint64_t i = p->tail; i > p->head; i--) {
        struct pending_row *r = pending_at(p, i - 1);
        if (r->row.t0_ns <= e->start_ns)
            return;
        if (r->row.t0_ns >= e->end_ns || e->peak_cmh2o <= r->drive.effort_cmh2o)
            continue;
        r->drive.effort_cmh2o = e->peak_cmh2o;
        r->drive.start_ns = e->start_ns;
    }
}

static void p01_cells(struct pending_row *r)
{
    struct breath_row *row = &r->row;
    struct drive_p01 v = {.p01_cmh2o = (double)NAN, .why = WHY_no_hold};
    row->p01_basis = P01_NONE;
    if (r->exp_held) {
        v = r->exp_hold.p01;
        row->p01_basis = P01_EXP_HOLD;
    }
    if (v.why != WHY_NONE && r->more.machine && row->initiation == INIT_PATIENT && !noted(row, WHY_event) &&
        (!r->exp_held || r->drive.p01.why == WHY_NONE)) {
        v = r->drive.p01;
        row->p01_basis = P01_TRIGGER_PHASE;
    }
    if (v.why == WHY_NONE) {
        row_set(row, COL_p01_cmh2o, v.p01_cmh2o);
        row->why[COL_p01_basis] = WHY_NONE;
        return;
    }
    row->p01_basis = P01_NONE;
    row_empty(row, COL_p01_cmh2o, v.why);
    row_empty(row, COL_p01_basis, v.why);
}

/* Why neither delay nor drop can be told. */
static enum reason untold(const struct pending *p, const struct pending_row *r)
{
    const struct breath_row *row = &r->row;
    if (!r->more.machine || row->initiation == INIT_MACHINE || row->kind == KIND_UNASSISTED || row->kind == KIND_MANUAL)
        return WHY_not_applicable;
    if (p->rate_hz < RATE_LEAST * 0.999)
        return WHY_rate_low;
    if (noted(row, WHY_event))
        return WHY_event;
    if (!r->drive.follows)
        return WHY_gap;
    if (row->v[COL_leak_pct] > LEAK_PCT)
        return WHY_leak_high;
    return WHY_NONE;
}

/* The effort's start, by the estimated muscle pressure, where flow or pressure left their course with it: one sign alone is a
 * beat, the end of a push or an error of the constants too often. -1: not to be told. */
static int64_t start_of(const struct drive_facts *d)
{
    if (d->start_ns < 0 || d->departure_ns < 0)
        return -1;
    int64_t apart = d->start_ns - d->departure_ns;
    return apart <= AGREE_NS && apart >= -AGREE_NS ? d->start_ns : -1;
}

static void trigger_cells(const struct pending *p, struct pending_row *r)
{
    struct breath_row *row = &r->row;
    const struct drive_facts *d = &r->drive;
    enum reason why = untold(p, r), why_drop = why;
    int64_t start = start_of(d);
    double delay = (double)(row->t0_ns - start) * 1e-9;
    if (why == WHY_NONE && !r->muscle.read)
        why = WHY_no_mechanics;
    else if (why == WHY_NONE &&
             (r->muscle.heart_cmh2o > HEART_CMH2O || r->more.drawn || start < 0 || delay * p->rate_hz < 1))
        why = WHY_below_resolution;
    if (why == WHY_NONE)
        row_set(row, COL_trigger_delay_s, delay);
    else
        row_empty(row, COL_trigger_delay_s, why);
    if (why_drop == WHY_NONE && (isnan(d->drop_cmh2o) || (d->start_ns < 0 && d->departure_ns < 0)))
        why_drop = WHY_below_resolution;
    if (why_drop == WHY_NONE)
        row_set(row, COL_trigger_drop_cmh2o, d->drop_cmh2o);
    else
        row_empty(row, COL_trigger_drop_cmh2o, why_drop);
}

static void restart(struct drive_window *w, int64_t at_ns, enum reason why)
{
    w->n = 0;
    w->broken_ns = at_ns;
    w->broken_why = why;
}

static bool alone(const struct breath_row *row)
{
    return row->kind == KIND_UNASSISTED || row->kind == KIND_SUPPORTED;
}

/* What the row does to the window: WHY_NONE, it is entered. */
static enum reason breaks(const struct breath_row *row)
{
    if (noted(row, WHY_event))
        return WHY_event;
    if (!row->complete)
        return (enum reason)row->why[COL_ttot_s];
    if (noted(row, WHY_gap))
        return WHY_gap;
    if (noted(row, WHY_leak_high))
        return WHY_leak_high;
    if (isnan(row->v[COL_vte_ml]))
        return (enum reason)row->why[COL_vte_ml];
    return WHY_NONE;
}

static void enter(struct drive_window *w, const struct pending_row *r)
{
    const struct breath_row *row = &r->row;
    if (!w->begun)
        restart(w, row->t0_ns, WHY_few_breaths);
    else if (row->t0_ns - w->end_ns > NS_PER_S / 1000)
        restart(w, row->t0_ns, WHY_event); /* what lies between is no breath */
    w->begun = true;
    w->end_ns = row->t2_ns;
    enum reason why = breaks(row);
    if (why != WHY_NONE) {
        restart(w, row->t2_ns, why);
        return;
    }
    uint64_t k = w->n++ % DRIVE_KEPT;
    w->kept[k].t0_ns = row->t0_ns;
    w->kept[k].t2_ns = row->t2_ns;
    w->kept[k].vte_ml = row->v[COL_vte_ml];
    w->kept[k].other = !alone(row);
    w->kept[k].support_cmh2o = row->kind == KIND_UNASSISTED ? 0 : r->drive.support_cmh2o;
}

struct index {
    double rsbi, support; /* NAN: why, why_support */
    enum reason why, why_support;
};

static void index_of(const struct drive_window *w, struct index *o)
{
    double seconds = 0, litres = 0, support[DRIVE_KEPT];
    int n = 0, known = 0, others = 0;
    int64_t from = w->end_ns - WINDOW_NS;
    *o = (struct index){.rsbi = (double)NAN, .support = (double)NAN, .why = w->broken_why, .why_support = w->broken_why};
    if (w->broken_ns > from)
        return;
    for (uint64_t k = w->n; k > 0 && k + DRIVE_KEPT > w->n && w->kept[(k - 1) % DRIVE_KEPT].t0_ns >= from; k--) {
        seconds += (double)(w->kept[(k - 1) % DRIVE_KEPT].t2_ns - w->kept[(k - 1) % DRIVE_KEPT].t0_ns) * 1e-9;
        litres += w->kept[(k - 1) % DRIVE_KEPT].vte_ml / 1000;
        n++;
        others += w->kept[(k - 1) % DRIVE_KEPT].other;
        if (!w->kept[(k - 1) % DRIVE_KEPT].other && !isnan(w->kept[(k - 1) % DRIVE_KEPT].support_cmh2o))
            support[known++] = w->kept[(k - 1) % DRIVE_KEPT].support_cmh2o;
    }
    o->why = o->why_support = WHY_few_breaths;
    if (n < LEAST || others * OTHERS > n || !(litres > 0))
        return;
    double low = 0, high = 0;
    o->why_support = 2 * known > n ? WHY_NONE : WHY_support_unknown;
    if (o->why_support == WHY_NONE) {
        o->support = order_median(support, known);
        low = order_kth(support, known, known / 10);
        high = order_kth(support, known, known - 1 - known / 10);
    }
    o->why = high - low > CHANGED ? WHY_unsteady : WHY_NONE;
    if (o->why == WHY_NONE) {
        o->rsbi = 60 * n / seconds / (litres / n);
        return;
    }
    o->support = (double)NAN;
    o->why_support = o->why;
}

static void index_cells(struct pending *p, struct breath_row *row)
{
    struct index o;
    index_of(&p->window, &o);
    if (!alone(row))
        o = (struct index){.rsbi = (double)NAN, .support = (double)NAN, .why = WHY_not_applicable, .why_support = WHY_not_applicable};
    if (o.why == WHY_NONE)
        row_set(row, COL_rsbi_per_min_l, o.rsbi);
    else
        row_empty(row, COL_rsbi_per_min_l, o.why);
    if (o.why_support == WHY_NONE)
        row_set(row, COL_rsbi_support_cmh2o, o.support);
    else
        row_empty(row, COL_rsbi_support_cmh2o, o.why_support);
}

void drive_cells(struct pending *p, uint64_t i)
{
    struct pending_row *r = pending_at(p, i);
    enter(&p->window, r);
    p01_cells(r);
    trigger_cells(p, r);
    index_cells(p, &r->row);
}
