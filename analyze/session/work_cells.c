#include "analyze/session/work_cells.h"

#define LEAK_MOST_PCT 20.0 /* more: what p dV counts did not enter the lung */
/* Over it a straight lung (1.0) would be said to bend, by the usual bands of 0.9 and 1.1, in more than one breath of
 * twenty: 1.96 x 0.05 = 0.1. */
#define SE_MOST       0.05
#define WITHIN_NS     (120 * NS_PER_S)

/* Muscles were at work while it was delivered, or are not excluded. */
static bool active(const struct pending_row *r)
{
    return r->row.initiation == INIT_PATIENT || r->more.departure_before || r->row.v[COL_effort] >= 1;
}

/* ... more than a heart's bump, which "possible" may be and which the scatter among breaths shows, too. */
static bool at_work(const struct pending_row *r)
{
    return r->row.initiation == INIT_PATIENT || r->more.departure_before || r->row.v[COL_effort] >= 2;
}

static void power_cells(struct pending_row *r)
{
    static const enum col cells[] = {COL_wob_j_l, COL_power_j_min};
    struct breath_row *row = &r->row;
    enum reason why = isnan(row->v[COL_vti_ml]) ? (enum reason)row->why[COL_vti_ml]
                      : !r->work.there ? WHY_drift_high
                      : row->v[COL_leak_pct] > LEAK_MOST_PCT ? WHY_leak_high : WHY_NONE;
    for (size_t k = 0; why != WHY_NONE && k < sizeof cells / sizeof cells[0]; k++)
        row_empty(row, cells[k], why);
    if (why != WHY_NONE)
        return;
    row_set(row, COL_wob_j_l, work_per_litre(&r->work));
    if (row->complete)
        row_set(row, COL_power_j_min, work_power(&r->work, row->v[COL_rate_per_min]));
    else
        row_empty(row, COL_power_j_min, (enum reason)row->why[COL_rate_per_min]);
    if (active(r))
        row_quality(row, WHY_effort_suspected);
}

/* Why this breath itself can't have an index. */
static enum reason unfit(const struct pending_row *r)
{
    const struct breath_row *row = &r->row;
    if (row->control != CONTROL_VOLUME)
        return WHY_not_applicable;
    if (at_work(r))
        return WHY_effort_suspected;
    if (row->quality & (UINT64_C(1) << WHY_leak_high))
        return WHY_leak_high;
    return r->stress.why;
}

static void stress_cell(struct pending *p, uint64_t i)
{
    struct pending_row *r = pending_at(p, i);
    enum reason why = unfit(r);
    double index[STRESS_AMONG], se = 0;
    int n = 0;
    for (uint64_t k = i + 1; why == WHY_NONE && k > p->first && n < STRESS_AMONG; k--) {
        const struct pending_row *o = pending_at(p, k - 1);
        if (r->row.t0_ns - o->row.t0_ns > WITHIN_NS)
            break;
        if (!o->dropped && unfit(o) == WHY_NONE && stress_alike(&r->stress, &o->stress))
            index[n++] = o->stress.index;
    }
    if (why == WHY_NONE && n < STRESS_FEWEST)
        why = WHY_few_breaths;
    double b = why == WHY_NONE ? stress_among(index, n, r->stress.se, &se) : (double)NAN;
    if (why == WHY_NONE && !(se <= SE_MOST))
        why = WHY_fit_poor;
    if (why == WHY_NONE)
        row_set(&r->row, COL_stress_index, b);
    else
        row_empty(&r->row, COL_stress_index, why);
}

void work_cells(struct pending *p, uint64_t i)
{
    power_cells(pending_at(p, i));
    stress_cell(p, i);
}
