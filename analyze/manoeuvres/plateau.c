#include "analyze/manoeuvres/plateau.h"

#define READ_AT_S    2.0
#define WINDOW_S     0.25
#define SHORT_S      0.3
#define RUN_OUT_S    0.2
#define RELEASE_S    0.05
#define SLOPE_LOW    (-2.0)
#define SLOPE_HIGH   0.3
#define SD_CMH2O     0.3
#define SPAN_CMH2O   2.0  /* under it the quotient is noise */
#define TRAPPED_PART 0.02 /* of the volume: as good as emptied */
#define SURE         1.0  /* standard errors */
#define EMPTYING     0.08 /* x e^-x / (1 - e^-x) where 2 % of the volume are left, x expirations' time in time constants */

void plateau_of(const struct shut_ctx *x, const struct seg_breath *b, struct plateau *out)
{
    const double none = (double)NAN;
    const struct ring *r = x->ring;
    uint64_t k = ring_count(r, 0.05), end = b->i1 > b->i0 + ring_count(r, RELEASE_S) ? b->i1 - ring_count(r, RELEASE_S) : b->i0;
    uint64_t i = end;
    double zero = shut_zero_l_s(x, k);
    *out = (struct plateau){.pause_cmh2o = none, .run_out_cmh2o = none, .pause_why = WHY_no_hold,
                            .start_l = ring_at(r, b->i0)->vol_l,
                            .q_se_l_s = x->noise->q_sd_l_s / sqrt((double)(int64_t)k), .closed_l = ring_at(r, b->i1)->vol_l};
    if (!b->has_t1 || !b->machine)
        return;
    while (i > b->i0 + 2 * k && fabs(ring_q_mean(r, i - k, i)) <= zero)
        i -= k;
    if (i == end)
        return;
    out->pause_s = (double)(int64_t)(end - i) / r->rate_hz;
    if (out->pause_s + RELEASE_S >= RUN_OUT_S)
        out->run_out_cmh2o = ring_p_mean(r, end - (end - i < 4 * k ? end - i : 4 * k), end);
    uint64_t w = ring_count(r, WINDOW_S), last = i + ring_count(r, READ_AT_S), skip = ring_count(r, 0.1);
    last = last < end ? last : end;
    if (i + w < b->i1)
        out->closed_l = ring_at(r, i + w)->vol_l;
    if (out->pause_s + RELEASE_S < SHORT_S) {
        out->pause_why = WHY_hold_short;
        return;
    }
    double slope = 0, sd = 0, noise = x->noise->p_sd_cmh2o / sqrt((double)(int64_t)k);
    bool known = hold_slope(r, i + skip, last, &slope, &sd);
    if (known && (slope < SLOPE_LOW - noise || slope > SLOPE_HIGH + 2 * noise || sd > fmax(SD_CMH2O, 2 * noise))) {
        out->pause_why = slope > 0 ? WHY_effort_suspected : WHY_hold_not_flat;
        return;
    }
    uint64_t from = last - i > w + skip ? last - w : i + skip;
    if (from >= last)
        return;
    out->pause_cmh2o = ring_p_mean(r, from, last);
    out->pause_why = WHY_NONE;
}

void plateau_held(struct plateau *p, const struct hold_reading *h)
{
    p->held = true;
    p->read_late = h->late;
    p->pause_cmh2o = h->pplat_cmh2o;
    p->pause_why = h->why;
    if (!isnan(h->volume_l))
        p->closed_l = h->volume_l;
}

bool plateau_compliance(const struct plateau *p, double pplat_cmh2o, const struct plateau_before *before,
                        double *c_ml_cmh2o, enum cstat_basis *basis)
{
    bool total = before->there && !before->extrapolated && !isnan(before->total_peep_cmh2o);
    double volume_l = p->closed_l - p->start_l;
    /* An exponential's flow at its end times its length, over the volume, tells how much is left, whatever its time constant. */
    bool ran_out = isnan(before->trapped_ml) && (fabs(before->end_exp_flow_l_s) + SURE * p->q_se_l_s) * before->te_s < EMPTYING * volume_l;
    bool emptied = before->there && (before->trapped_ml < 1000 * TRAPPED_PART * volume_l || ran_out);
    double peep = total ? before->total_peep_cmh2o : emptied ? before->peep_cmh2o : (double)NAN;
    if (!(pplat_cmh2o - peep >= SPAN_CMH2O))
        return false;
    *c_ml_cmh2o = 1000 * volume_l / (pplat_cmh2o - peep);
    *basis = total ? CSTAT_TOTAL_PEEP : CSTAT_AIRWAY_PEEP;
    return true;
}

static void all_empty(struct breath_row *row, enum reason why)
{
    static const enum col cells[] = {COL_pplat_cmh2o, COL_pplat_basis, COL_driving_cmh2o, COL_driving_airway_cmh2o,
                                     COL_cstat_ml_cmh2o, COL_cstat_basis};
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++)
        row_empty(row, cells[i], why);
}

/* Which reading the breath allows. */
static double reading(const struct plateau *p, bool restless, struct breath_row *row, enum reason *why)
{
    *why = WHY_NONE;
    if (p->held) {
        row->pplat_basis = p->read_late ? PPLAT_HOLD : PPLAT_PAUSE;
        *why = p->pause_why;
        return p->pause_cmh2o;
    }
    if (row->initiation == INIT_PATIENT && p->pause_s > 0) {
        *why = WHY_effort_suspected; /* who starts a breath may still pull, or push, within a fraction of a second */
    } else if (row->control == CONTROL_PRESSURE && !isnan(p->run_out_cmh2o) && restless) {
        *why = WHY_effort_suspected;
    } else if (row->control == CONTROL_PRESSURE && !isnan(p->run_out_cmh2o)) {
        row->pplat_basis = PPLAT_ZERO_FLOW;
        return p->run_out_cmh2o;
    } else if (row->control == CONTROL_VOLUME) {
        row->pplat_basis = PPLAT_PAUSE;
        *why = p->pause_why;
        return p->pause_cmh2o;
    } else {
        *why = WHY_no_hold;
    }
    return (double)NAN;
}

void plateau_cells(const struct plateau *p, const struct plateau_before *before, bool restless,
                   struct breath_row *row)
{
    enum reason why;
    double pplat = reading(p, restless, row, &why), c = 0;
    bool leaks = row->quality & (UINT64_C(1) << WHY_leak_high);
    if (why == WHY_NONE && leaks && !p->held) /* a hold shows by itself whether it leaks */
        why = WHY_leak_high;
    if (why == WHY_NONE && isnan(pplat))
        why = WHY_no_hold;
    if (why != WHY_NONE) {
        row->pplat_basis = PPLAT_NONE;
        all_empty(row, why);
        return;
    }
    row_set(row, COL_pplat_cmh2o, pplat);
    row->why[COL_pplat_basis] = WHY_NONE;
    if (before->there && !isnan(before->peep_cmh2o))
        row_set(row, COL_driving_airway_cmh2o, pplat - before->peep_cmh2o);
    else
        row_empty(row, COL_driving_airway_cmh2o, WHY_few_breaths);
    if (before->there && !isnan(before->total_peep_cmh2o))
        row_set(row, COL_driving_cmh2o, pplat - before->total_peep_cmh2o);
    else
        row_empty(row, COL_driving_cmh2o, WHY_trapped);
    if (isnan(row->v[COL_vti_ml])) {
        row_empty(row, COL_cstat_ml_cmh2o, (enum reason)row->why[COL_vti_ml]);
        row_empty(row, COL_cstat_basis, (enum reason)row->why[COL_vti_ml]);
    } else if (leaks) {
        row_empty(row, COL_cstat_ml_cmh2o, WHY_leak_high);
        row_empty(row, COL_cstat_basis, WHY_leak_high);
    } else if (plateau_compliance(p, pplat, before, &c, &row->cstat_basis)) {
        row_set(row, COL_cstat_ml_cmh2o, c);
        row->why[COL_cstat_basis] = WHY_NONE;
    } else {
        row_empty(row, COL_cstat_ml_cmh2o, WHY_trapped);
        row_empty(row, COL_cstat_basis, WHY_trapped);
    }
}
