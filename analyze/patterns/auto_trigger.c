/* Auto-trigger: an inflation that a false trigger started. It is known by what is missing, so a single one is never told. */
#include "analyze/breath/order.h"
#include "analyze/patterns/acts.h"
#include "analyze/patterns/alike.h"

enum param { AFTER, HEARTS, OF_TEN, LOCK };

static const struct pattern_param params[] = {
    {"after_cmh2o", "cm[H2O]", 1.0, 0.6, 1.5, "Muscle pressure that is left 0.15 to 0.35 s after the start, at most.", "common practice, no source"},
    {"heart_ratio", "", 0.8, 0.5, 1.5, "... or so many of the heart's bumps.", "common practice, no source"},
    {"of_ten", "", 9, 2, 10, "Breaths like this among the ten about it, at least, where the heart or a leak is no cause; half of them where it is.",
     "common practice, no source"},
    {"lock_s", "s", 0.045, 0.02, 0.08, "Scatter of the time from the last heartbeat to the start, among the ten breaths about it, up to which beats are "
     "what fires the trigger: efforts come at any time between beats, 0.2 s of scatter.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"after_cmh2o", "cm[H2O]", "muscle pressure after the start, above before it"},
    {"sd_cmh2o", "cm[H2O]", "its standard deviation"},
    {"cause", "", "heartbeat (in step with it), water, heart, leak, or none_seen"},
    {"of_ten", "", "breaths like this among the ten about it"},
    {"beat_before_s", "s", "from the last heartbeat to the start"},
    {"lock_s", "s", "scatter of that among the ten breaths about it"},
    {"thr_cmh2o", "cm[H2O]", "threshold that was used"},
    {0},
};

#define HEART_LEAST 0.5 /* cmH2O: a heart that may fire a trigger */
#define LEAK_LEAST  15.0
#define TEN         10
#define BEATS_LEAST 6
#define WITH_IT_S   0.15
#define DIES_S      0.6
#define PUSH_LEAST  3.0 /* cmH2O */
#define PUSH_HEARTS 2.0

static double limit(const struct pattern_breath *b, const double *p)
{
    return fmax(p[AFTER], p[HEARTS] * b->muscle->heart_cmh2o);
}

/* Triggered, and nothing of an effort to be seen. */
static bool empty(const struct pattern_window *w, int k, const double *p)
{
    const struct pattern_breath *b = &w->at[k];
    return acts_triggered(b->row) && acts_unfit(w, k) == WHY_NONE && b->muscle->read && b->muscle->after_cmh2o < limit(b, p) &&
           b->muscle->quality >= MECHANICS_FAIR && !acts_own(w, k);
}

/* Scatter of the time from the last beat to the start, among the triggered breaths about this one; the middle of what they
 * are, without the odd ones. INFINITY: too few. */
static double scatter_s(const struct pattern_window *w, int from)
{
    double v[TEN], off[TEN];
    int n = 0;
    for (int k = from; k < w->n && k < from + TEN; k++)
        if (acts_triggered(w->at[k].row) && !isnan(w->at[k].beat->before_s))
            v[n++] = w->at[k].beat->before_s;
    if (n < BEATS_LEAST)
        return (double)INFINITY;
    double sorted[TEN];
    for (int i = 0; i < n; i++)
        sorted[i] = v[i];
    const double middle = order_median(sorted, n);
    for (int i = 0; i < n; i++)
        off[i] = fabs(v[i] - middle);
    return 1.4826 * order_median(off, n);
}

/* What looks like an effort may be none if it ends with the inflation, or dies away after it: constants that are wrong as a whole
 * make that. A push that ends as the next effort begins keeps step with that by itself. */
static bool no_effort(const struct pattern_window *w, int k)
{
    const struct effort *e = acts_own(w, k);
    if (w->at[k].muscle->push_cmh2o > fmax(PUSH_LEAST, PUSH_HEARTS * w->at[k].muscle->heart_cmh2o))
        return false;
    double after = e ? acts_s(w->at[k].row->t1_ns, e->neural_end_ns) : 0;
    return after > -WITH_IT_S && after < (w->at[k].muscle->source < SOURCE_HOLD ? DIES_S : WITH_IT_S);
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    if (!acts_triggered(b->row))
        return;
    int from = w->own - TEN / 2, alike = 0;
    from = from < 0 ? 0 : from;
    const double lock = scatter_s(w, from);
    const bool beats = lock < p[LOCK] && b->muscle->heart_cmh2o > HEART_LEAST && no_effort(w, w->own);
    out->unjudged = acts_unfit(w, w->own);
    if (out->unjudged == WHY_NONE && !beats && b->muscle->quality < MECHANICS_FAIR)
        out->unjudged = WHY_no_mechanics;
    if (out->unjudged == WHY_NONE && !beats && isnan(b->muscle->after_cmh2o) && !acts_own(w, w->own))
        out->unjudged = WHY_breath_short;
    if (out->unjudged != WHY_NONE || !(beats || empty(w, w->own, p)))
        return;
    for (int k = from; k < w->n && k < from + TEN; k++)
        alike += beats ? acts_triggered(w->at[k].row) && !isnan(w->at[k].beat->before_s) : empty(w, k, p);
    bool heart = b->muscle->heart_cmh2o > HEART_LEAST, water = b->alike & ALIKE_CONDENSATE, leak = b->row->v[COL_leak_pct] > LEAK_LEAST;
    if (!beats && (heart || water || leak ? 2 : 1) * alike < p[OF_TEN])
        return;
    out->confidence = CONF_POSSIBLE;
    out->at_ns = b->row->t0_ns;
    evidence_number(out, "after_cmh2o", b->muscle->after_cmh2o, 2);
    evidence_number(out, "sd_cmh2o", b->muscle->after_sd, 2);
    evidence_word(out, "cause", beats ? "heartbeat" : water ? "water" : heart ? "heart" : leak ? "leak" : "none_seen");
    evidence_number(out, "of_ten", alike, 0);
    if (!isnan(b->beat->before_s))
        evidence_number(out, "beat_before_s", b->beat->before_s, 3);
    if (isfinite(lock))
        evidence_number(out, "lock_s", lock, 3);
    evidence_number(out, "thr_cmh2o", limit(b, p), 2);
}

const struct pattern pattern_auto_trigger = {
    .signature = "A triggered breath that fills a passive lung: no dip of pressure and no bend of flow before it, nothing pulls after it.",
    .confidence = "Never definite without oesophageal pressure: an effort that can't be seen may be there all the same.",
    .alike = "A weak effort with a quick valve, a clock's breath, the release of a push, which truly triggers.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
