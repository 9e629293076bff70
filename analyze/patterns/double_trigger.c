/* Double trigger: a second inflation within one effort, on top of what the first one left in the lung. */
#include "analyze/patterns/acts.h"

#define LIKE 0.25 /* the smaller volume, of the larger one: else the first was a draw, or the second a gasp */

enum param { SURE_OUT, MOST_OUT, GAP, AFTER };

static const struct pattern_param params[] = {
    {"sure_exhaled_pct", "%", 50, 30, 60, "Share of the first volume breathed out between the two, under which it may be definite.",
     "common practice, no source"},
    {"exhaled_pct", "%", 60, 50, 70, "... under which it is one at all: the middle of the band in which readers disagree.",
     "common practice, no source"},
    {"gap_s", "s", 0.6, 0.3, 1.0, "Longest time from the end of the first inflation to the second; half of it in infants.",
     "common practice, no source"},
    {"after_s", "s", 0.3, 0.1, 0.5, "The effort may be over for so long when the second begins.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"gap_s", "s", "from the end of the first inflation to the second"},
    {"exhaled_pct", "%", "share of the first volume that came out between"},
    {"v1_ml", "mL", "first volume"},
    {"v2_ml", "mL", "second volume"},
    {"vstack_ml", "mL", "in the lung at the end of the second, above where the first began"},
    ACTS_EVIDENCE,
    {"first", "", "patient, machine or unknown: what began the first inflation"},
    {0},
};

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct breath_row *row = w->at[w->own].row;
    if (w->own == 0 || row->kind == KIND_UNASSISTED)
        return;
    const struct breath_row *first = w->at[w->own - 1].row;
    double gap = acts_s(first->t1_ns, row->t0_ns), v1 = first->v[COL_vti_ml], v2 = row->v[COL_vti_ml];
    double out_pct = 100 * first->v[COL_vte_ml] / v1;
    if (!first->complete || gap > p[GAP] * w->time_scale || gap < 0)
        return;
    if (isnan(v1) || isnan(v2)) {
        out->unjudged = row->quality & UINT64_C(1) << WHY_event ? WHY_event : WHY_gap;
        return;
    }
    if (isnan(out_pct)) {
        if (first->why[COL_vte_ml] != WHY_drift_high) {
            out->unjudged = (enum reason)first->why[COL_vte_ml];
            return;
        }
        out_pct = 0; /* more flowed in than out: hardly anything came out */
    }
    if (out_pct > p[MOST_OUT])
        return;
    const struct effort *e = NULL;
    for (int i = 0; i < w->n_efforts; i++) {
        const struct effort *x = &w->effort[i];
        if (x->start_ns < row->t0_ns && x->start_ns < first->t1_ns + NS_PER_S / 5 &&
            x->neural_end_ns > row->t0_ns - (int64_t)(p[AFTER] * 1e9))
            e = x;
    }
    const bool known = acts_unfit(w, w->own) == WHY_NONE;
    if (known && !e)
        return;
    bool sure = e && e->neural_end_ns > row->t0_ns && out_pct < p[SURE_OUT] && gap < 0.5 * w->time_scale && gap > 0.03 && v1 > LIKE * v2 && v2 > LIKE * v1 && !(row->v[COL_leak_pct] > 20) && e->quality > MECHANICS_POOR;
    out->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    out->at_ns = row->t0_ns;
    evidence_number(out, "gap_s", gap, 2);
    evidence_number(out, "exhaled_pct", out_pct, 0);
    evidence_number(out, "v1_ml", v1, 0);
    evidence_number(out, "v2_ml", v2, 0);
    evidence_number(out, "vstack_ml", v1 * (1 - out_pct / 100) + v2, 0);
    if (e)
        acts_evidence(out, e);
    evidence_word(out, "first", initiation_name(first->initiation));
}

const struct pattern pattern_double_trigger = {
    .signature = "A second inflation within half a second of the end of the first, before half of the first volume was breathed out.",
    .confidence = "Definite: under half breathed out, the gap under 0.5 s, the effort not yet over as the second begins, with fair or good mechanics, leak up to "
                  "20 %. Else possible.",
    .alike = "A fast patient (who breathes out first), a cough, two false triggers (no effort between). One long effort or two can't be told.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
