#include "analyze/session/lane_breath.h"

#include "analyze/breath/columns.h"
#include "analyze/breath/departure.h"
#include "analyze/breath/order.h"
#include "analyze/mechanics/leak_model.h"
#include "analyze/mechanics/output_error.h"
#include "analyze/session/lane_drive.h"
#include "analyze/session/lane_effort.h"
#include "analyze/session/static_cells.h"

#include <string.h>

#define CDYN_SPAN_CMH2O 2.0  /* under it the quotient is noise */
#define SURE_E          0.05 /* standard errors, relative, above which constants are not believed */
#define ATTENUATION_MAX 0.01 /* more than that of R is lost to noise in flow */
#define SAME_E          0.08 /* of the tracked constants, in their logarithms */
#define SAME_R          0.12
#define SURE_R          0.08
#define AFTER_SUCTION_S 60
#define REFILL_NS       (7 * NS_PER_S / 10)
#define END_GUARD_NS    (NS_PER_S / 8)
#define LIFTED_CMH2O   4.0 /* over the usual peak: an inflation of its own */
#define HOLD_CLEAR_NS  (NS_PER_S / 2)
#define LITRES          2.0
#define BEAT_LEAST      0.005 /* L/s */
#define BEAT_SDS        3.0
#define RETURN_LEAST    0.1
#define RETURN_QUARTER  0.25
#define BACK_S          3.0 /* what comes back of a breath does so in this time */
#define SETTLED_S       5.0
#define LONG_OPEN_NS    (60 * NS_PER_S)

static const enum col fit_cells[] = {COL_fit_crs_ml_cmh2o, COL_fit_r_cmh2o_s_l, COL_fit_re_cmh2o_s_l,
                                     COL_fit_p0_cmh2o, COL_fit_r2};
#define N_FITS (sizeof fit_cells / sizeof fit_cells[0])

static void enter_stretch(struct lane *l, const struct stretch *s)
{
    struct stretch *kept = &l->stretch[l->n_stretches++ % LANE_STRETCHES];
    *kept = *s;
    kept->to_ns -= END_GUARD_NS; /* the breath that ends it is one */
    tracker_reset(&l->tracker, s->to_ns);
    pending_drop(&l->pending, kept);
    /* What went in and out meanwhile is not known: no window reaches over it. */
    pending_unknown(&l->pending, s->from_ns);
    trend_restart(&l->trend, s->to_ns);
    lane_alike_forget(l, s->from_ns);
}

/* A breath that closed after the stretch it began in. */
static void meet_stretches(struct lane *l, const struct seg_breath *b)
{
    for (uint64_t i = 0; i < LANE_STRETCHES && i < l->n_stretches; i++)
        if (b->t0_ns < l->stretch[i].to_ns + l->stretch[i].refilled_ns && b->t2_ns > l->stretch[i].from_ns)
            pending_drop(&l->pending, &l->stretch[i]);
}

void lane_suction_ended(struct lane *l, int64_t end_ns)
{
    if (l->suction_end_ns < end_ns)
        l->suction_end_ns = end_ns;
    pending_touch(&l->pending, end_ns, end_ns + AFTER_SUCTION_S * NS_PER_S, WHY_after_suction);
}

void lane_event(struct lane *l, const struct event *e)
{
    pending_event(&l->pending, e);
    lane_silence_explained(l, e);
    switch (e->id) {
    case EVENT_disconnection:
        enter_stretch(l, &(struct stretch){.from_ns = e->start_ns, .to_ns = e->end_ns,
                                           .refilled_ns = REFILL_NS,
                                           .keep_breathing = e->end_ns - e->start_ns > LONG_OPEN_NS});
        break;
    case EVENT_suction:
        enter_stretch(l, &(struct stretch){.from_ns = e->start_ns, .to_ns = e->end_ns, .refilled_ns = REFILL_NS});
        lane_suction_ended(l, e->end_ns);
        break;
    case EVENT_sustained_inflation:
        /* The inflation that becomes it is no breath either. */
        enter_stretch(l, &(struct stretch){.from_ns = e->start_ns, .to_ns = e->end_ns,
                                           .drop_inspiring = true});
        break;
    case EVENT_insp_hold:
    case EVENT_exp_hold:
        /* No breath begins in it, whatever efforts pull, and none is owed. */
        pending_owns(&l->pending, e, EVENT_apnoea);
        pending_drop(&l->pending, &(struct stretch){.from_ns = e->start_ns + END_GUARD_NS, .to_ns = e->end_ns - END_GUARD_NS});
        break;
    default:
        break;
    }
}

static void no_calibration(struct breath_row *row)
{
    for (int c = 0; c < COL_N; c++)
        if (column_needs_flow((enum col)c))
            row_empty(row, (enum col)c, WHY_no_calib);
    row_quality(row, WHY_no_calib);
}

static void not_built(struct breath_row *row)
{
    for (int c = 0; c < COL_N; c++)
        if (!column_built((enum col)c))
            row_empty(row, (enum col)c, WHY_not_built);
}

/* VT per kg, dynamic compliance: from cells that stand already. */
static void ratios(const struct lane *l, double peep_before, const struct breath_more *more,
                   struct breath_row *row)
{
    double vte = row->v[COL_vte_ml], span = row->v[COL_pip_cmh2o] - peep_before;
    if (isnan(vte))
        row_empty(row, COL_vt_ml_kg, (enum reason)row->why[COL_vte_ml]);
    else if (isnan(l->pbw_kg))
        row_empty(row, COL_vt_ml_kg, WHY_no_height);
    else
        row_set(row, COL_vt_ml_kg, vte / l->pbw_kg);
    if (!more->machine)
        row_empty(row, COL_cdyn_ml_cmh2o, WHY_not_applicable);
    else if (isnan(vte))
        row_empty(row, COL_cdyn_ml_cmh2o, (enum reason)row->why[COL_vte_ml]);
    else if (row->quality & (UINT64_C(1) << WHY_leak_high))
        row_empty(row, COL_cdyn_ml_cmh2o, WHY_leak_high);
    else if (more->departure_before)
        row_empty(row, COL_cdyn_ml_cmh2o, WHY_effort_suspected);
    else if (isnan(span) || span < CDYN_SPAN_CMH2O)
        row_empty(row, COL_cdyn_ml_cmh2o, WHY_not_applicable);
    else
        row_set(row, COL_cdyn_ml_cmh2o, vte / span);
}

static void fit_empty(struct breath_row *row, enum reason why)
{
    for (size_t i = 0; i < N_FITS; i++)
        row_empty(row, fit_cells[i], why);
}

/* What looked like an effort was none if the constants are those of the passive breaths before: a real one of 1 cmH2O moves Ri by
 * a fifth. */
static bool as_tracked(const struct mechanics *m, const struct motion_fit *f)
{
    if (m->quality != MECHANICS_GOOD || m->source != SOURCE_FIT)
        return false;
    double q = f->r_chord - f->ri_cmh2o_s_l, q_out = f->re_chord - f->re_cmh2o_s_l; /* K2's part of the chords */
    return fabs(log(f->e_cmh2o_l / m->e_cmh2o_l)) < SAME_E && fabs(log(f->r_chord / (m->ri_cmh2o_s_l + q))) < SAME_R &&
           fabs(log(f->re_chord / (m->re_cmh2o_s_l + q_out))) < SAME_R;
}

static void fit(struct lane *l, const struct seg_breath *b, double peep_before, struct pending_row *p)
{
    const struct breath_more *more = &p->more;
    struct breath_row *row = &p->row;
    enum reason why = !b->complete ? seg_breath_why(b)
                      : row->quality & (UINT64_C(1) << WHY_gap) ? WHY_gap
                      : row->quality & (UINT64_C(1) << WHY_leak_high) ? WHY_leak_high
                      : !b->machine || b->drawn ? WHY_effort_suspected : WHY_NONE;
    if (why != WHY_NONE) {
        fit_empty(row, why);
        return;
    }
    bool effort = more->departure_before || more->departure;
    if (!effort)
        lag_offer(&l->lag, l->ring, b->i0, b->i1, b->i2, leak_drift_l_s(&l->leak),
                  pool_elastance(&l->pool), &l->samples, l->work);
    lag_gather(l->ring, b->i0, b->i1, b->i2, l->lag.lag_s, 0, &l->samples);
    leak_take_out(&l->leak, &l->samples, !effort, l->work);
    struct motion_limits lim = {.e_max = l->infant ? 2500 : 200, .r_max = l->infant ? 400 : 100,
                                .v_range_min_l = l->infant ? 0.008 : 0.08,
                                .pip_cmh2o = row->v[COL_pip_cmh2o], .peep_cmh2o = peep_before,
                                .q_sd_l_s = l->noise.q_sd_l_s, .a_heart_l_s = l->heart_resid_l_s,
                                .effort_seen = effort && l->watch.m.quality != MECHANICS_GOOD};
    struct motion_fit f;
    motion_fit(&l->samples, &lim, l->work, &f);
    if (f.why != WHY_NONE) {
        fit_empty(row, f.why);
        return;
    }
    if (f.attenuation > ATTENUATION_MAX && !output_error(&l->samples, l->work, &f)) {
        fit_empty(row, WHY_fit_poor);
        return;
    }
    if (effort && !as_tracked(&l->watch.m, &f)) {
        fit_empty(row, WHY_effort_suspected);
        return;
    }
    struct pool_mean m;
    pool_enter(&l->pool, (struct pool_breath){.t0_ns = b->t0_ns, .ti_s = l->samples.ti_s, .vt_l = more->vti_l,
                                              .span_cmh2o = lim.pip_cmh2o - lim.peep_cmh2o}, &f, &m);
    if (m.sd[POOL_E] > SURE_E || m.sd[POOL_RI] > SURE_R || m.sd[POOL_RE] > SURE_R) {
        fit_empty(row, WHY_fit_poor);
        return;
    }
    if (!effort)
        tracker_fit(&l->tracker, &f, &m, b->t2_ns);
    row_set(row, COL_fit_crs_ml_cmh2o, 1000 / m.value[POOL_E]);
    row_set(row, COL_fit_r_cmh2o_s_l, m.value[POOL_RI]);
    row_set(row, COL_fit_re_cmh2o_s_l, m.value[POOL_RE]);
    row_set(row, COL_fit_p0_cmh2o, f.p0_cmh2o);
    row_set(row, COL_fit_r2, f.r2);
    p->fit = (struct autopeep_fit){.re_cmh2o_s_l = f.re_cmh2o_s_l, .k2 = f.k2, .e_cmh2o_l = f.e_cmh2o_l,
                                   .p0_cmh2o = f.p0_cmh2o, .tau_s = f.tau_s, .lag_s = l->lag.lag_s};
    if (f.reduced)
        row_quality(row, WHY_fit_reduced);
}

/* Does another event that owns the stretch explain it? */
static bool owned(const struct pending *p, const struct event *e)
{
    for (int i = 0; i < p->n_events; i++) {
        const struct event *o = &p->events[i];
        bool owns = o->id == EVENT_disconnection || o->id == EVENT_suction || o->id == EVENT_sustained_inflation || o->id == EVENT_gap;
        if (owns && o->end_ns > e->start_ns - HOLD_CLEAR_NS && o->start_ns < e->end_ns + HOLD_CLEAR_NS)
            return true;
    }
    return false;
}

/* A valid hold is food for the tracker, with the resistance that it showed. */
static void track_hold(struct lane *l, struct event e)
{
    double c = (double)NAN, r = (double)NAN;
    static_event(&l->pending, &e);
    for (int i = 0; i < e.n_values; i++) {
        if (strcmp(e.values[i].key, "cstat_ml_cmh2o") == 0)
            c = e.values[i].number;
        if (strcmp(e.values[i].key, "r_total_cmh2o_s_l") == 0)
            r = e.values[i].number;
    }
    if (c > 0)
        tracker_hold(&l->tracker, 1000 / c, r, e.end_ns);
}

void lane_holds(struct lane *l, int64_t now_ns, bool all)
{
    struct event e;
    struct hold_reading h;
    while (holds_next(&l->holds, now_ns, all, &e, &h))
        if (!owned(&l->pending, &e)) {
            lane_event(l, &e);
            static_held(&l->pending, &h);
            track_hold(l, e);
        }
}

static void enter_heart(struct lane *l, const struct seg_breath *b)
{
    double a = departure_heart_l_s(l->ring, b), v[LANE_HEARTS];
    if (isnan(a))
        return;
    l->heart[l->n_heart % LANE_HEARTS] = a;
    l->n_heart++;
    int n = l->n_heart < LANE_HEARTS ? l->n_heart : LANE_HEARTS;
    memcpy(v, l->heart, sizeof v);
    l->heart_resid_l_s = order_median(v, n);
}

/* A draw with nothing after it for long: the quiet that follows tells what leaks. What is left of the draw has to count as a
 * breath, and a quarter of it to come back. */
static bool leaked_only(const struct lane *l, const struct seg_breath *b, const struct breath_more *more)
{
    uint64_t settled = b->i1 + ring_count(l->ring, SETTLED_S), back = b->i1 + ring_count(l->ring, BACK_S);
    if (b->machine || b->complete || b->why != WHY_breath_long || !b->has_t1 || b->i2 < settled + (back - b->i1))
        return false;
    double leaks = ring_q_mean(l->ring, settled, b->i2);
    double in = more->vti_l - leaks * (double)(b->t1_ns - b->t0_ns) * 1e-9;
    double out = leaks * BACK_S - ring_vol_l(l->ring, b->i1, back);
    return in < l->scale.count_min_l || out < RETURN_QUARTER * in;
}

/* Gas that goes in and doesn't come out again, by the sensor or by a leak that is known, is a new leak, suction or a lung
 * that fills: a draw that gives back next to nothing, and litres of which hardly half returns. */
static bool no_breath(const struct lane *l, const struct seg_breath *b, const struct breath_more *more)
{
    bool cut = !b->complete && b->why != WHY_breath_long; /* what would have come out is not known */
    bool returns_half = b->complete && more->vte_l >= 0.5 * more->vti_l;
    if (more->vti_l > LITRES * l->scale.volume && !returns_half && !cut)
        return true;
    if (leaked_only(l, b, more))
        return true;
    double peep = isnan(b->peep_before) ? b->p_foot : b->peep_before, leaks = larger(base_flow_at(&l->seg.base, peep), 0);
    double in = more->vti_l - leaks * (double)(b->t1_ns - b->t0_ns) * 1e-9;
    double out = more->vte_l + leaks * (double)(b->t2_ns - b->t1_ns) * 1e-9;
    return !b->machine && b->complete && out < RETURN_LEAST * in;
}

/* The machine began later than the draw at which the breath before was taken to end: a breath lasts until the next t0. */
static void last_until(struct breath_row *row, int64_t from_ns, int64_t to_ns, int64_t t2_ns)
{
    if (!row->complete || row->t2_ns < from_ns || row->t2_ns > to_ns) /* another one ended there */
        return;
    double te = (double)(t2_ns - row->t1_ns) * 1e-9, ttot = (double)(t2_ns - row->t0_ns) * 1e-9;
    row->t2_ns = t2_ns;
    row_set(row, COL_te_s, te);
    row_set(row, COL_ttot_s, ttot);
    row_set(row, COL_rate_per_min, 60 / ttot);
    row_set(row, COL_ti_ttot, 1 - te / ttot);
}

/* Where the breath before began to breathe out. */
static int64_t expired_from(struct lane *l)
{
    return l->pending.tail >= l->pending.head + 2 ? pending_at(&l->pending, l->pending.tail - 2)->row.t1_ns : INT64_MAX;
}

int lane_breath(void *user, const struct seg_breath *b)
{
    struct lane *l = user;
    struct measure_ctx x = {.ring = l->ring, .noise = &l->noise, .seg = &l->seg,
                            .heart_resid_l_s = l->heart_resid_l_s, .lag_s = l->lag.lag_s > 0 ? l->lag.lag_s : l->valve_lag.lag_s,
                            .timing_only = l->uncalibrated};
    if (l->pending.tail > l->pending.head && b->ended < b->i0)
        last_until(&pending_at(&l->pending, l->pending.tail - 1)->row, ring_at(l->ring, b->ended)->t_ns,
                   ring_at(l->ring, b->ended + 1)->t_ns, b->t0_ns);
    struct pending_row *p = pending_add(&l->pending);
    struct breath_row *row = &p->row;
    measure_breath(&x, b, l->ring->end, row, &p->more);
    p->more.departure_before = l->departed;
    l->departed = p->more.departure;
    if (l->uncalibrated) {
        lane_breathed(l, b);
        no_calibration(row);
        not_built(row);
        return TM_OK;
    }
    valve_lag_offer(&l->valve_lag, l->ring, &l->noise, b, l->scale.flow, l->ring->end);
    if (no_breath(l, b, &p->more)) {
        p->dropped = true;
        trend_restart(&l->trend, b->t2_ns);
        if (b->machine) /* the machine did what it does */
            lane_breathed(l, b);
        return TM_OK;
    }
    double peep_before = l->trend.last_peep_cmh2o;
    if (isnan(peep_before))
        peep_before = b->p_foot;
    if (b->complete && !isnan(row->v[COL_vti_ml]) && !isnan(row->v[COL_vte_ml])) {
        trend_breath(&l->trend, &p->more, row);
        leak_enter(&l->leak, l->ring, b, peep_before, row->v[COL_pip_cmh2o], p->more.net_l, p->more.vti_l);
    } else {
        enum reason why = (enum reason)row->why[isnan(row->v[COL_vte_ml]) ? COL_vte_ml : COL_vti_ml];
        row_empty(row, COL_leak_pct, why);
        row_empty(row, COL_ve_l_min, why);
        trend_restart(&l->trend, b->t2_ns);
    }
    lane_effort_breath(l, b, p->more.departure_before, row);
    lane_drive(l, b, p);
    ratios(l, peep_before, &p->more, row);
    fit(l, b, peep_before, p);
    plateau_of(&l->shut_x, b, &p->plateau);
    overshoot_read(l->ring, b, &p->over);
    beat_before(l->ring, expired_from(l), b, larger(BEAT_LEAST * l->scale.flow, BEAT_SDS * l->noise.q_sd_l_s / sqrt(larger(1, 0.04 * l->ring->rate_hz))), &p->beat);
    work_read(l->ring, b, x.lag_s, &p->work);
    p->work.peep_cmh2o = peep_before;
    stress_read(l->ring, b, &l->noise, x.lag_s, l->scale.flow, &p->stress);
    p->end_base_l_s = base_flow_at(&l->seg.base, row->v[COL_peep_cmh2o]);
    if (l->suction_end_ns >= 0 && b->t0_ns < l->suction_end_ns + AFTER_SUCTION_S * NS_PER_S)
        row_quality(row, WHY_after_suction);
    meet_stretches(l, b);
    if (!p->dropped)
        lane_breathed(l, b);
    bool whole = b->complete && !(row->quality & ((UINT64_C(1) << WHY_event) | (UINT64_C(1) << WHY_gap)));
    if (whole) {
        enter_heart(l, b);
        bool lifted = sustained_inflation_suspected(&l->inflation) && l->inflation.mean > l->habit.pip_cmh2o + LIFTED_CMH2O;
        if (!lifted && !l->disconnection.active && !l->suction.active)
            trend_ordinary(&l->habit_trend, row, &p->more, &l->habit);
        if (!l->seg.no_lesson)
            trend_ordinary(&l->trend, row, &p->more, &l->ordinary);
    }
    if (b->t0_ns < 60 * NS_PER_S && l->n_volumes < 64)
        l->volumes_l[l->n_volumes++] = p->more.vti_l;
    lane_alike_breath(l, b, p, whole && !l->disconnection.active && !l->suction.active);
    not_built(row);
    return TM_OK;
}
