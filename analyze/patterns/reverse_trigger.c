/* Reverse trigger: efforts that follow the clock's inflations, in step with them. */
#include "analyze/patterns/acts.h"

enum param { SPREAD, SIZE, HEARTS };

static const struct pattern_param params[] = {
    {"spread_s", "s", 0.2, 0.05, 0.3, "Standard deviation of the delays of a run, at most: 0.15 s of true starts, and what found ones scatter besides.", "common practice, no source"},
    {"size_cmh2o", "cm[H2O]", 2, 1, 4, "Least size of the effort.", "common practice, no source"},
    {"heart_ratio", "", 2, 1, 3, "Least size in bumps of this patient's heart.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"delay_s", "s", "from the start of the inflation to the start of the effort"},
    {"delay_sd_s", "s", "standard deviation of the delays of the run"},
    {"phase_deg", "deg", "delay as a part of the cycle of 360 degrees"},
    {"ratio", "", "inflations to efforts: 1:1, 1:2, 1:3 or mixed"},
    {"of_run", "", "breaths of the run with such an effort"},
    ACTS_EVIDENCE,
    {0},
};

#define ROUGH_SDS 2.0
#define GUARD_NS (NS_PER_S / 50)
#define HALF_OUT 0.7 /* time constants until half is breathed out: ln 2 */
#define TAU_S    0.5 /* where none is known */

/* An effort that starts after the inflation did not start it: what else speaks for a patient is weak then. */
static bool by_clock(const struct breath_row *row)
{
    return row->kind != KIND_UNASSISTED && row->kind != KIND_MANUAL && row->initiation != INIT_PATIENT;
}

/* The effort that follows inflation k; NULL. */
static const struct effort *follows(const struct pattern_window *w, int k, const double *p)
{
    const struct pattern_breath *b = &w->at[k];
    double tau = b->exp->why_tail == WHY_NONE ? b->exp->tau_s : TAU_S * w->time_scale;
    const int64_t last = b->row->t1_ns + (int64_t)(HALF_OUT * fmin(tau, 1.0) * 1e9);
    if (!by_clock(b->row))
        return NULL;
    const struct effort *e;
    int i = 0;
    while ((e = acts_next(w, k, &i)) != NULL)
        if (e->start_ns > b->row->t0_ns + GUARD_NS && e->start_ns < last && e->peak_cmh2o >= p[SIZE] &&
            acts_over_heart(w, k, e, p[HEARTS]) && !acts_at_spike(w, k, e))
            return e;
    return NULL;
}

struct run {
    int members;
    double sd_s;
    const char *ratio;
};

/* Mandatory breaths among which own is the `at`-th: 1 where an effort follows, with its delay. */
struct beats {
    int n, at;
    bool hit[2 * PATTERN_REACH + 1];
    double delay_s[2 * PATTERN_REACH + 1];
};

/* Every `step`-th breath from `from` to `to` (in beats), own among them: how many are hit, and how their delays scatter. */
static int members(const struct beats *b, int from, int to, int step, double *sd_s)
{
    double s = 0, ss = 0;
    int n = 0;
    for (int i = from; i < to; i++)
        if (i >= 0 && i < b->n && (i - b->at) % step == 0 && b->hit[i]) {
            s += b->delay_s[i], ss += b->delay_s[i] * b->delay_s[i];
            n++;
        }
    *sd_s = n > 1 ? sqrt(fmax(0, (ss - s * s / n) / (n - 1))) : (double)INFINITY;
    return n;
}

static int hits(const struct beats *b, int from, int to)
{
    int n = 0;
    for (int i = from; i < to; i++)
        n += i >= 0 && i < b->n && b->hit[i];
    return n;
}

/* How the inflations about it are answered. Every second one makes three of five as well. */
static const char *ratio_about(const struct beats *b)
{
    const int from = b->at - 6 < 0 ? 0 : b->at - 6, to = b->at + 6 > b->n ? b->n : b->at + 6, all = hits(b, from, to);
    double sd_s;
    if (4 * all >= 3 * (to - from))
        return "1:1";
    return members(b, from, to, 2, &sd_s) == all ? "1:2" : "mixed";
}

/* At least 3 of 5 on end, or every second or third with at least 4 in 12 and three quarters of the hits among them. */
static bool in_run(const struct beats *b, double spread_s, struct run *out)
{
    for (int from = b->at - 4; from <= b->at; from++) {
        out->members = members(b, from, from + 5, 1, &out->sd_s);
        if (from >= 0 && from + 5 <= b->n && out->members >= 3 && out->sd_s <= spread_s) {
            out->ratio = ratio_about(b);
            return true;
        }
    }
    for (int step = 2; step <= 3; step++)
        for (int from = b->at - 11; from <= b->at; from++) {
            out->members = members(b, from, from + 12, step, &out->sd_s);
            if (out->members >= 4 && out->sd_s <= spread_s && 4 * out->members >= 3 * hits(b, from, from + 12)) {
                out->ratio = step == 2 ? "1:2" : "1:3";
                return true;
            }
        }
    return false;
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    if (!by_clock(b->row))
        return;
    out->unjudged = acts_unfit(w, w->own);
    const struct effort *e = out->unjudged == WHY_NONE ? follows(w, w->own, p) : NULL;
    if (!e)
        return;
    if (e->quality <= MECHANICS_POOR && e->peak_cmh2o < ROUGH_SDS * e->sd_cmh2o) { /* wrong constants leave a hump in every inflation, in step with it */
        out->unjudged = WHY_no_mechanics;
        return;
    }
    struct beats x = {0};
    struct run run;
    for (int k = 0; k < w->n; k++) {
        if (!by_clock(w->at[k].row))
            continue;
        const struct effort *f = follows(w, k, p);
        if (k == w->own)
            x.at = x.n;
        x.hit[x.n] = f != NULL;
        x.delay_s[x.n++] = f ? acts_s(w->at[k].row->t0_ns, f->start_ns) : 0;
    }
    if (!in_run(&x, p[SPREAD], &run))
        return;
    double delay = acts_s(b->row->t0_ns, e->start_ns);
    out->confidence = CONF_POSSIBLE;
    out->at_ns = e->start_ns;
    evidence_number(out, "delay_s", delay, 2);
    evidence_number(out, "delay_sd_s", run.sd_s, 3);
    if (!isnan(b->row->v[COL_ttot_s]))
        evidence_number(out, "phase_deg", 360 * delay / b->row->v[COL_ttot_s], 0);
    evidence_word(out, "ratio", run.ratio);
    evidence_number(out, "of_run", run.members, 0);
    acts_evidence(out, e);
}

const struct pattern pattern_reverse_trigger = {
    .signature = "After inflations that the clock began, at a steady delay: a notch in pressure (volume control) or a late hump of flow (pressure "
                 "control), and a cut peak of expired flow.",
    .confidence = "Never definite without oesophageal pressure: a patient who breathes nearly as fast as the clock looks alike for a while.",
    .alike = "Late efforts of a patient faster than the clock (their delays scatter), insufficient flow (there the patient began), early "
             "termination, the heart.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
