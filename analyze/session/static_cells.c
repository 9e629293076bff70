#include "analyze/session/static_cells.h"

#include <stdlib.h>

#define FITS_LOOKED_AT 16
#define FITS_SHARE     3 /* one in four passes */
#define RE_RI_MOST     2.2 /* more: flow out is limited, and Re no resistance */
#define EMPTIED_L_S 0.02
#define WINDOW_S    0.05
#define HELD_FOR_NS (600 * NS_PER_S)
#define SAME_PEEP_CMH2O 0.5
#define SAME_SHARE  0.1
#define LEAKS_CMH2O 0.3

/* The breath that ends where row i starts; NULL: none, or something lies between. */
static const struct pending_row *before(struct pending *p, uint64_t i)
{
    const struct pending_row *r = pending_at(p, i);
    while (i > p->first) {
        const struct pending_row *k = pending_at(p, --i);
        if (!k->dropped)
            return k->row.complete && k->row.t2_ns == r->row.t0_ns ? k : NULL;
    }
    return NULL;
}

static const struct pending_row *after(struct pending *p, uint64_t i)
{
    const struct pending_row *r = pending_at(p, i);
    while (++i < p->tail) {
        const struct pending_row *k = pending_at(p, i);
        if (!k->dropped)
            return k->row.t0_ns == r->row.t2_ns ? k : NULL;
    }
    return NULL;
}

static bool about(double a, double b, double share)
{
    return fabs(a - b) <= share * fabs(b);
}

/* Total PEEP at this row's end by a hold after a breath of the same size, at the same PEEP, with as much time to expire; NAN. */
static double as_held(const struct pending *p, const struct breath_row *row)
{
    const struct total_peep_held *h = &p->held;
    double peep = row->v[COL_peep_cmh2o];
    bool alike = h->there && llabs(h->at_ns - row->t2_ns) < HELD_FOR_NS && fabs(peep - h->peep_cmh2o) < SAME_PEEP_CMH2O &&
                 about(row->v[COL_te_s], h->te_s, SAME_SHARE) && about(row->v[COL_vti_ml], h->vti_ml, SAME_SHARE);
    return alike ? h->total_cmh2o : (double)NAN;
}

static struct plateau_before started_from(struct pending *p, uint64_t i)
{
    const struct pending_row *r = before(p, i);
    if (!r)
        return (struct plateau_before){.there = false};
    /* His effort began before the breath did: flow and pressure at its start are his. */
    bool drawn = pending_at(p, i)->row.initiation == INIT_PATIENT;
    bool trapped = r->row.quality & (UINT64_C(1) << WHY_trapped);
    bool known = !isnan(r->row.v[COL_total_peep_cmh2o]) && (!trapped || r->exp_held);
    double total = known ? r->row.v[COL_total_peep_cmh2o] : drawn ? (double)NAN : as_held(p, &r->row);
    bool extrapolated = isnan(total) && trapped;
    if (isnan(total))
        total = r->row.v[COL_total_peep_cmh2o];
    return (struct plateau_before){.there = true, .extrapolated = extrapolated, .peep_cmh2o = r->row.v[COL_peep_cmh2o],
                                   .total_peep_cmh2o = total, .te_s = drawn ? (double)NAN : r->row.v[COL_te_s],
                                   .trapped_ml = r->row.v[COL_trapped_ml], .end_exp_flow_l_s = r->row.v[COL_end_exp_flow_l_s] + r->end_base_l_s};
}

static void refuse(struct autopeep_fit *f)
{
    if (f->there)
        f->why = WHY_fit_poor;
    f->there = false;
}

/* A fit that was taken back since (an event, a patient's breath) is none. */
static struct autopeep_fit fit_of(const struct pending_row *r)
{
    struct autopeep_fit f = r->fit;
    f.there = !isnan(r->row.v[COL_fit_crs_ml_cmh2o]);
    f.why = (enum reason)r->row.why[COL_fit_crs_ml_cmh2o];
    if (f.there && r->row.v[COL_fit_re_cmh2o_s_l] > RE_RI_MOST * r->row.v[COL_fit_r_cmh2o_s_l])
        refuse(&f);
    return f;
}

/* In a lung that the model does not suit, and in a patient at work, a fit now and then passes all checks by chance: of the
 * last breaths a quarter has to. A flow-limited lung is told by that, too. */
static bool fits_suit(struct pending *p, uint64_t i)
{
    int passed = 0, failed = 0;
    for (uint64_t k = i + 1; k > p->first && passed + failed < FITS_LOOKED_AT; k--) {
        const struct pending_row *r = pending_at(p, k - 1);
        enum reason why = (enum reason)r->row.why[COL_fit_crs_ml_cmh2o];
        if (r->dropped)
            continue;
        passed += !isnan(r->row.v[COL_fit_crs_ml_cmh2o]);
        failed += isnan(r->row.v[COL_fit_crs_ml_cmh2o]) && (why == WHY_fit_poor || why == WHY_effort_suspected);
    }
    return FITS_SHARE * passed >= failed;
}

/* Muscles were at work in half of the last breaths or more. */
static bool restless(struct pending *p, uint64_t i)
{
    int seen = 0, efforts = 0;
    for (uint64_t k = i + 1; k > p->first && seen < FITS_LOOKED_AT; k--) {
        const struct pending_row *r = pending_at(p, k - 1);
        if (r->dropped)
            continue;
        seen++;
        efforts += r->row.why[COL_fit_crs_ml_cmh2o] == WHY_effort_suspected;
    }
    return 2 * efforts >= seen;
}

static void put(struct breath_row *row, enum col c, double v, enum reason why)
{
    if (isnan(v))
        row_empty(row, c, why);
    else
        row_set(row, c, v);
}

static void autopeep_cells(struct pending *p, uint64_t i, const struct noise *z)
{
    struct pending_row *r = pending_at(p, i);
    const struct pending_row *next = after(p, i);
    struct breath_row *row = &r->row;
    double n = fmax(1, WINDOW_S * p->rate_hz), raw = row->v[COL_end_exp_flow_l_s];
    struct autopeep_in in = {.why = !row->complete ? (enum reason)row->why[COL_ttot_s]
                                    : row->quality & (UINT64_C(1) << WHY_leak_high) ? WHY_leak_high
                                    : row->quality & (UINT64_C(1) << WHY_gap) ? WHY_gap : WHY_NONE,
                             .effort = r->more.departure || row->initiation == INIT_PATIENT,
                             .peep_cmh2o = row->v[COL_peep_cmh2o], .q_l_s = raw + r->end_base_l_s,
                             .q_least_l_s = fmax(EMPTIED_L_S * p->flow_scale, 3 * z->q_sd_l_s / sqrt(n)),
                             .dead_band = !(fabs(raw) > 0), .own = fit_of(r), .held = r->exp_held};
    if (in.why == WHY_NONE && isnan(raw))
        in.why = (enum reason)row->why[COL_end_exp_flow_l_s];
    if (next) {
        in.next = fit_of(next);
        in.next_follows = !next->more.departure_before;
    }
    if (!fits_suit(p, i)) {
        refuse(&in.own);
        refuse(&in.next);
    }
    if (r->exp_held) {
        in.hold_why = r->exp_hold.why;
        in.hold_total_cmh2o = r->exp_hold.total_peep_cmh2o;
        in.hold_peep_cmh2o = r->exp_hold.peep_cmh2o;
    }
    struct autopeep_out o;
    autopeep_of(&in, &o);
    put(row, COL_total_peep_cmh2o, o.total_cmh2o, o.why);
    put(row, COL_autopeep_cmh2o, o.auto_cmh2o, o.why);
    row->autopeep_basis = o.basis;
    row->why[COL_autopeep_basis] = (uint8_t)(o.basis == AUTOPEEP_NONE ? o.why : WHY_NONE);
    put(row, COL_autopeep_flow_cmh2o, o.flow_cmh2o, o.why_flow);
    put(row, COL_autopeep_fit_cmh2o, o.fit_cmh2o, next || o.why_fit != WHY_effort_suspected ? o.why_fit : WHY_gap);
    if (row->v[COL_te_s] < o.tau_s)
        row_quality(row, WHY_trapped);
    put(row, COL_rc_exp_s, o.tau_s, o.why_tau);
    put(row, COL_trapped_ml, o.trapped_ml, o.why_trapped);
}

void static_cells(struct pending *p, uint64_t i, const struct noise *z)
{
    struct plateau_before b = started_from(p, i);
    autopeep_cells(p, i, z);
    struct pending_row *r = pending_at(p, i);
    plateau_cells(&r->plateau, &b, r->more.departure || r->more.departure_before || restless(p, i), &r->row);
}

void static_limited(struct breath_row *row)
{
    const enum col of_flow[] = {COL_autopeep_flow_cmh2o, COL_autopeep_fit_cmh2o, COL_trapped_ml, COL_rc_exp_s};
    for (size_t i = 0; i < sizeof of_flow / sizeof *of_flow; i++)
        if (!isnan(row->v[of_flow[i]]))
            row_empty(row, of_flow[i], WHY_fit_poor);
    if (row->autopeep_basis != AUTOPEEP_FLOW && row->autopeep_basis != AUTOPEEP_FIT)
        return;
    row->autopeep_basis = AUTOPEEP_NONE;
    row->why[COL_autopeep_basis] = WHY_fit_poor;
    row_empty(row, COL_total_peep_cmh2o, WHY_fit_poor);
    row_empty(row, COL_autopeep_cmh2o, WHY_fit_poor);
}

/* The row that time t lies in; one after it: none. */
static uint64_t row_at(struct pending *p, int64_t t_ns)
{
    for (uint64_t i = p->tail; i > p->first; i--) {
        const struct pending_row *r = pending_at(p, i - 1);
        if (!r->dropped && r->row.t0_ns <= t_ns)
            return r->row.t2_ns > t_ns ? i - 1 : p->tail;
    }
    return p->tail;
}

void static_held(struct pending *p, const struct hold_reading *h)
{
    uint64_t i = row_at(p, h->start_ns);
    if (i == p->tail)
        return;
    struct pending_row *r = pending_at(p, i);
    if (h->inspired) {
        plateau_held(&r->plateau, h);
        return;
    }
    r->exp_held = true;
    r->exp_hold = *h;
    bool leaks = h->total_peep_cmh2o < h->peep_cmh2o - LEAKS_CMH2O;
    if (h->why == WHY_NONE && !leaks && !isnan(h->total_peep_cmh2o) && !isnan(h->peep_cmh2o) && !isnan(r->row.v[COL_vti_ml]))
        p->held = (struct total_peep_held){.there = true, .at_ns = h->start_ns, .total_cmh2o = h->total_peep_cmh2o,
                                           .peep_cmh2o = h->peep_cmh2o, .te_s = (double)(h->start_ns - r->row.t1_ns) * 1e-9,
                                           .vti_ml = r->row.v[COL_vti_ml]};
    if (!isnan(h->peep_cmh2o) && !isnan(r->row.v[COL_peep_cmh2o]))
        row_set(&r->row, COL_peep_cmh2o, h->peep_cmh2o);
}

void static_event(struct pending *p, struct event *e)
{
    if (e->id != EVENT_insp_hold || e->n_values > EVENT_VALUES_MAX - 2)
        return;
    uint64_t i = row_at(p, e->start_ns);
    if (i == p->tail)
        return;
    const struct plateau *h = &pending_at(p, i)->plateau;
    struct plateau_before b = started_from(p, i);
    double c;
    enum cstat_basis basis;
    bool leaks = pending_at(p, i)->row.quality & (UINT64_C(1) << WHY_leak_high);
    if (!h->held || h->pause_why != WHY_NONE || leaks ||
        !plateau_compliance(h, h->pause_cmh2o, &b, &c, &basis))
        return;
    e->values[e->n_values++] = (struct event_value){.key = "cstat_ml_cmh2o", .number = c, .decimals = 2};
    e->values[e->n_values++] = (struct event_value){.key = "cstat_basis", .number = (double)NAN, .text = cstat_basis_name(basis)};
}
