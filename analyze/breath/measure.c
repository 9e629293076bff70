#include "analyze/breath/measure.h"

#include "analyze/breath/departure.h"
#include "analyze/breath/peaks.h"
#include "analyze/breath/shape.h"

#define TURN_LATE_S    0.12 /* the flow channel may turn this much after the machine's fall */
#define PRE_MAX_S      0.75
#define HOLE_SHARE_MAX 0.02
#define PEEP_S         0.050
#define PEEP_GUARD_S   0.020
#define UNSTEADY       2.0 /* cmH2O/s */

/* Volume integral at the zero crossing between samples i and i + 1 (at i if there is none). */
static double volume_at_crossing(const struct ring *r, uint64_t i)
{
    const struct ring_slot *a = ring_at(r, i), *b = ring_at(r, i + 1);
    if (i + 1 >= r->end || (a->q >= 0) == (b->q >= 0) || a->q == b->q)
        return a->vol_l;
    double share = a->q / (a->q - b->q), dt = (double)(b->t_ns - a->t_ns) * 1e-9;
    return a->vol_l + 0.5 * a->q * share * dt;
}

/* Volume integral at what the flow channel shows of sample i's moment: lag_s later. */
static double volume_lagged(const struct ring *r, uint64_t i, double lag_s)
{
    int64_t t_ns = ring_at(r, i)->t_ns + (int64_t)(lag_s * 1e9);
    while (i + 1 < r->end && ring_at(r, i + 1)->t_ns <= t_ns)
        i++;
    const struct ring_slot *a = ring_at(r, i);
    if (i + 1 >= r->end || t_ns <= a->t_ns)
        return a->vol_l;
    const struct ring_slot *b = ring_at(r, i + 1);
    double share = (double)(t_ns - a->t_ns) / (double)(b->t_ns - a->t_ns);
    return a->vol_l + (b->vol_l - a->vol_l) * share;
}

/* Where inspired volume starts to count: at t0, or where flow crosses to inward within the step after it. */
static double start_volume(const struct ring *r, const struct seg_breath *b, double lag_s)
{
    uint64_t to = b->i0 + ring_count(r, 0.060);
    if (ring_at(r, b->i0)->q >= 0 && b->machine)
        return volume_lagged(r, b->i0, lag_s);
    for (uint64_t i = b->i0; i < to && i + 1 < r->end && i < b->i1; i++) {
        if (ring_at(r, i)->q >= 0)
            return ring_at(r, i)->vol_l;
        if (ring_at(r, i + 1)->q >= 0)
            return volume_at_crossing(r, i);
    }
    return ring_at(r, b->i0)->vol_l;
}

/* Where inspired volume stops: the outward crossing soon after t1, else t1. */
static double turn_volume(const struct ring *r, const struct seg_breath *b, double lag_s)
{
    uint64_t to = b->i1 + ring_count(r, TURN_LATE_S);
    for (uint64_t i = b->i1; i < to && i < b->i2; i++)
        if (ring_at(r, i + 1)->q < 0)
            return ring_at(r, i)->q >= 0 ? volume_at_crossing(r, i) : ring_at(r, i)->vol_l;
    return b->fall ? volume_lagged(r, b->i1, lag_s) : ring_at(r, b->i1)->vol_l;
}

/* Where expired volume stops: flow's turn inward before t2 (gas drawn before the next step is of neither), else t2. */
static double end_volume(const struct ring *r, const struct seg_breath *b)
{
    uint64_t back = ring_count(r, PRE_MAX_S);
    uint64_t floor = b->i2 > b->i1 + back ? b->i2 - back : b->i1;
    if (ring_at(r, b->i2)->q < 0)
        return volume_at_crossing(r, b->i2);
    for (uint64_t i = b->i2; i > floor; i--)
        if (ring_at(r, i - 1)->q < 0)
            return volume_at_crossing(r, i - 1);
    return ring_at(r, b->i2)->vol_l;
}

static void volumes(const struct measure_ctx *x, const struct seg_breath *b, struct breath_row *row,
                    struct breath_more *more)
{
    const struct ring *r = x->ring;
    double v0 = start_volume(r, b, x->lag_s);
    double v1 = b->has_t1 ? turn_volume(r, b, x->lag_s) : ring_at(r, b->i1)->vol_l;
    more->vti_l = v1 - v0;
    row_set(row, COL_vti_ml, 1000 * more->vti_l);
    if (ring_at(r, b->i1)->hole_l - ring_at(r, b->i0)->hole_l > HOLE_SHARE_MAX * fabs(more->vti_l))
        row_empty(row, COL_vti_ml, WHY_gap);
    if (more->vti_l <= 0) /* more went out than in: a lung that still emptied, cut off */
        row_empty(row, COL_vti_ml, WHY_drift_high);
    if (!b->has_t1)
        row_empty(row, COL_vti_ml, seg_breath_why(b));
    if (!b->complete) {
        row_empty(row, COL_vte_ml, seg_breath_why(b));
        more->vte_l = more->net_l = (double)NAN;
        return;
    }
    double v2 = end_volume(r, b);
    more->vte_l = v1 - v2;
    more->net_l = ring_vol_l(r, b->ended, b->i2); /* with what was drawn before t0, which is breathed out too */
    row_set(row, COL_vte_ml, 1000 * more->vte_l);
    if (more->vte_l < 0) /* gas went on in: what came out can't be told from it */
        row_empty(row, COL_vte_ml, WHY_drift_high);
    if (ring_at(r, b->i2)->hole_l - ring_at(r, b->i1)->hole_l > HOLE_SHARE_MAX * fabs(more->vte_l))
        row_empty(row, COL_vte_ml, WHY_gap);
}

static void times(const struct seg_breath *b, struct breath_row *row)
{
    static const enum col whole[] = {COL_te_s, COL_ttot_s, COL_rate_per_min, COL_ti_ttot};
    enum reason why = seg_breath_why(b);
    double ti = (double)(b->t1_ns - b->t0_ns) * 1e-9, ttot = (double)(b->t2_ns - b->t0_ns) * 1e-9;
    row_set(row, COL_start_s, (double)b->t0_ns * 1e-9);
    if (b->has_t1)
        row_set(row, COL_ti_s, ti);
    else
        row_empty(row, COL_ti_s, why);
    if (!b->complete) {
        for (size_t i = 0; i < sizeof whole / sizeof whole[0]; i++)
            row_empty(row, whole[i], why);
        return;
    }
    row_set(row, COL_te_s, ttot - ti);
    row_set(row, COL_ttot_s, ttot);
    row_set(row, COL_rate_per_min, 60 / ttot);
    row_set(row, COL_ti_ttot, ti / ttot);
}

/* PEEP and end-expiratory flow: the 50 ms that end at t2, or 20 ms before an effort's departure. */
static void expiratory_end(const struct measure_ctx *x, const struct seg_breath *b, const struct departure *d,
                           struct breath_row *row)
{
    const struct ring *r = x->ring;
    static const enum col cells[] = {COL_peep_cmh2o, COL_end_exp_flow_l_s};
    int64_t stop = b->t2_ns;
    if (d->seen && d->t_ns - (int64_t)(PEEP_GUARD_S * 1e9) < stop)
        stop = d->t_ns - (int64_t)(PEEP_GUARD_S * 1e9);
    enum reason why = !b->complete ? seg_breath_why(b)
                      : stop - b->t1_ns < (int64_t)(0.15 * 1e9) ? (d->seen ? WHY_effort_suspected : WHY_breath_short)
                                                                : WHY_NONE;
    if (why != WHY_NONE) {
        for (size_t i = 0; i < 2; i++)
            row_empty(row, cells[i], why);
        return;
    }
    uint64_t last = ring_find(r, b->i1, b->i2 + 1, stop);
    uint64_t n = ring_count(r, PEEP_S), first = last + 1 > b->i1 + n ? last + 1 - n : b->i1 + 1;
    row_set(row, COL_peep_cmh2o, ring_p_mean(r, first, last + 1));
    row_set(row, COL_end_exp_flow_l_s, -ring_q_mean(r, first, last + 1));
    if (last > first) {
        /* Slope over 0.1 s: over 50 ms noise alone makes 2 cmH2O/s. */
        uint64_t half = ring_count(r, 0.05);
        if (first > b->i1 + half) {
            double earlier = ring_p_mean(r, first - half, first), later = row->v[COL_peep_cmh2o];
            double dt = (double)half / r->rate_hz;
            double noise = 3 * x->noise->p_sd_cmh2o * sqrt(2.0 / (double)half);
            if (earlier - later > UNSTEADY * dt + noise)
                row_quality(row, WHY_unsteady);
        }
    }
}

static void pressures_and_flows(const struct measure_ctx *x, const struct seg_breath *b, struct breath_row *row)
{
    const struct ring *r = x->ring;
    enum reason why = seg_breath_why(b);
    row_set(row, COL_pip_cmh2o, peak_pressure(r, b->i0, b->i1));
    row_set(row, COL_peak_insp_flow_l_s, peak_flow(r, b->i0, b->i1, 1));
    if (!b->has_t1) { /* cut within inspiration: the peaks may have been to come */
        row_empty(row, COL_pip_cmh2o, why);
        row_empty(row, COL_peak_insp_flow_l_s, why);
    }
    if (!b->complete) {
        row_empty(row, COL_pmean_cmh2o, why);
        row_empty(row, COL_peak_exp_flow_l_s, why);
        return;
    }
    double seconds = (double)(ring_at(r, b->i2)->t_ns - ring_at(r, b->i0)->t_ns) * 1e-9;
    row_set(row, COL_pmean_cmh2o, (ring_at(r, b->i2)->p_s - ring_at(r, b->i0)->p_s) / seconds);
    row_set(row, COL_peak_exp_flow_l_s, peak_flow(r, b->i1, b->i2, -1));
}

/* What the initiation is told from: flow and pressure just before t0. */
static void before_onset(const struct measure_ctx *x, const struct seg_breath *b, struct breath_more *more)
{
    const struct ring *r = x->ring;
    uint64_t n = ring_count(r, 0.030), first = ring_first(r);
    uint64_t from = b->i0 + 1 > first + n ? b->i0 + 1 - n : first;
    double p = ring_p_mean(r, from, b->i0 + 1);
    more->q_before_l_s = ring_q_mean(r, from, b->i0 + 1) - base_flow_at(&x->seg->base, p);
    uint64_t back = ring_count(r, 0.25);
    more->p_before_cmh2o = 0;
    if (from > first + back) {
        double early = ring_p_mean(r, from - back, from - back + n * 2);
        more->p_before_cmh2o = p - early;
    }
}

void measure_breath(const struct measure_ctx *x, const struct seg_breath *b, uint64_t end, struct breath_row *row,
                    struct breath_more *more)
{
    *more = (struct breath_more){.steady_ns = b->steady_ns, .machine = b->machine, .fall = b->fall, .drawn = b->drawn};
    row->t0_ns = b->t0_ns;
    row->t1_ns = b->t1_ns;
    row->t2_ns = b->t2_ns;
    row->complete = b->complete;
    times(b, row);
    volumes(x, b, row, more);
    pressures_and_flows(x, b, row);
    struct departure d = {0};
    if (!x->timing_only) /* its levels are flows */
        departure_find(x, b, end, &d);
    more->departure = d.seen;
    more->departure_ns = d.t_ns;
    expiratory_end(x, b, &d, row);
    before_onset(x, b, more);
    shape_of(x, b, more);
    if (!b->complete)
        row_quality(row, seg_breath_why(b));
    if (ring_at(x->ring, b->i2)->hole_l > ring_at(x->ring, b->i0)->hole_l)
        row_quality(row, WHY_gap);
}
