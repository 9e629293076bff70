#include "analyze/session/trend.h"

#include "analyze/breath/classify.h"
#include "analyze/breath/order.h"

#include <string.h>

#define LEAK_BREATHS  5
#define LEAK_RUNS     5
#define MINUTE_NS     (60 * NS_PER_S)
#define LEAK_HIGH_PCT 20.0
#define DRIFT_PCT     (-10.0)

void trend_init(struct trend *t)
{
    memset(t, 0, sizeof *t);
    t->last_peep_cmh2o = (double)NAN;
}

void trend_restart(struct trend *t, int64_t from_ns)
{
    if (t->n > 0 && from_ns < t->kept[(t->n - 1) % TREND_KEPT].t2_ns)
        from_ns = t->kept[(t->n - 1) % TREND_KEPT].t2_ns; /* told late: the breaths since are forgotten too */
    if (t->known_from_ns < from_ns)
        t->known_from_ns = from_ns;
    t->n = 0;
    t->last_peep_cmh2o = (double)NAN;
}

static void leak(const struct trend *t, struct breath_row *row)
{
    double in = 0, lost = 0;
    if (t->n < LEAK_BREATHS) {
        row_empty(row, COL_leak_pct, WHY_few_breaths);
        return;
    }
    /* What a lung holds differs from onset to onset and reads as a leak of the five breaths between two of them: the mean
     * over the last few such runs has less of it. */
    for (uint64_t run = 0; run < LEAK_RUNS && run + LEAK_BREATHS <= t->n; run++)
        for (uint64_t back = run + 1; back <= run + LEAK_BREATHS; back++) {
            in += t->kept[(t->n - back) % TREND_KEPT].vti_l;
            lost += t->kept[(t->n - back) % TREND_KEPT].net_l;
        }
    double pct = in > 0 ? 100 * lost / in : (double)NAN;
    if (isnan(pct) || pct < DRIFT_PCT) {
        row_empty(row, COL_leak_pct, WHY_drift_high);
        row_quality(row, WHY_drift_high);
        return;
    }
    row_set(row, COL_leak_pct, pct);
    if (pct > LEAK_HIGH_PCT)
        row_quality(row, WHY_leak_high);
}

/* Sum of what was expired in the last minute. The breath that was going on a minute ago counts by its share of time
 * since, so that the sum doesn't jump by a breath with where the minute starts. */
static void minute_volume(const struct trend *t, struct breath_row *row)
{
    double sum = 0, minutes = 1;
    int64_t minute_ago = row->t2_ns - MINUTE_NS;
    if (t->known_from_ns > minute_ago) {
        row_empty(row, COL_ve_l_min, WHY_few_breaths);
        return;
    }
    for (uint64_t back = 1; back <= t->n && back <= TREND_KEPT; back++) {
        uint64_t i = (t->n - back) % TREND_KEPT;
        int64_t t0 = t->kept[i].t0_ns, t2 = t->kept[i].t2_ns;
        if (t2 <= minute_ago)
            break;
        if (t0 < minute_ago) {
            sum += t->kept[i].vte_l * (double)(t2 - minute_ago) / (double)(t2 - t0);
            break;
        }
        sum += t->kept[i].vte_l;
        if (back == TREND_KEPT) /* faster than is kept: over what is */
            minutes = (double)(row->t2_ns - t0) / (double)MINUTE_NS;
    }
    row_set(row, COL_ve_l_min, sum / minutes);
}

void trend_breath(struct trend *t, const struct breath_more *more, struct breath_row *row)
{
    uint64_t i = t->n % TREND_KEPT;
    t->kept[i].t0_ns = row->t0_ns;
    t->kept[i].t2_ns = row->t2_ns;
    t->kept[i].vti_l = more->vti_l;
    t->kept[i].vte_l = more->vte_l;
    t->kept[i].net_l = more->net_l;
    t->n++;
    leak(t, row);
    minute_volume(t, row);
    t->last_peep_cmh2o = row->v[COL_peep_cmh2o];
}

static double median_by(const struct trend *t, int n, size_t offset)
{
    double v[TREND_ORDINARY];
    int m = 0;
    for (int i = 0; i < n; i++) {
        double x;
        memcpy(&x, (const char *)&t->ord[i] + offset, sizeof x);
        if (!isnan(x))
            v[m++] = x;
    }
    return order_median(v, m);
}

#define ORD(field) ((size_t)((const char *)&t->ord[0].field - (const char *)&t->ord[0]))

void trend_ordinary(struct trend *t, const struct breath_row *row, const struct breath_more *more,
                    struct ordinary *out)
{
    uint64_t i = t->n_ord % TREND_ORDINARY;
    t->ord[i].peep = row->v[COL_peep_cmh2o];
    t->ord[i].pip = row->v[COL_pip_cmh2o];
    t->ord[i].te_s = row->v[COL_te_s];
    t->ord[i].period_s = row->v[COL_ttot_s];
    t->ord[i].vt_l = more->vte_l;
    t->ord[i].machine = classify_is_machine(more);
    t->n_ord++;
    int n = t->n_ord < TREND_ORDINARY ? (int)t->n_ord : TREND_ORDINARY;
    *out = (struct ordinary){.n = n};
    if (n < 3) {
        out->peep_cmh2o = out->pip_cmh2o = out->te_s = (double)NAN;
        out->period_s = out->period_spread = out->vt_l = (double)NAN;
        return;
    }
    out->peep_cmh2o = median_by(t, n, ORD(peep));
    out->pip_cmh2o = median_by(t, n, ORD(pip));
    out->te_s = median_by(t, n, ORD(te_s));
    out->period_s = median_by(t, n, ORD(period_s));
    out->vt_l = median_by(t, n, ORD(vt_l));
    double spread[TREND_ORDINARY];
    int machine = 0;
    for (int k = 0; k < n; k++) {
        spread[k] = fabs(t->ord[k].period_s - out->period_s) / out->period_s;
        machine += t->ord[k].machine;
    }
    out->period_spread = order_median(spread, n);
    out->machine_share = (double)machine / n;
}
