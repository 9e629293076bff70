/* Auto-trigger: an inflation that a false trigger started. It is known by what is missing, so a single one is never told. */
#include "analyze/patterns/acts.h"

enum param { AFTER, HEARTS, OF_TEN };

static const struct pattern_param params[] = {
    {"after_cmh2o", "cm[H2O]", 1.0, 0.6, 1.5, "Muscle pressure that is left 0.15 to 0.35 s after the start, at most.", "common practice, no source"},
    {"heart_ratio", "", 0.8, 0.5, 1.5, "... or so many of the heart's bumps.", "common practice, no source"},
    {"of_ten", "", 5, 2, 10, "Breaths like this among the ten about it, at least, where the heart or a leak is no cause; half of them where it is.",
     "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"after_cmh2o", "cm[H2O]", "muscle pressure after the start, above before it"},
    {"sd_cmh2o", "cm[H2O]", "its standard deviation"},
    {"cause", "", "heart, leak, or none_seen"},
    {"of_ten", "", "breaths like this among the ten about it"},
    {"thr_cmh2o", "cm[H2O]", "threshold that was used"},
    {0},
};

#define HEART_LEAST 0.5 /* cmH2O: a heart that may fire a trigger */
#define LEAK_LEAST  15.0

static double limit(const struct pattern_breath *b, const double *p)
{
    return fmax(p[AFTER], p[HEARTS] * b->muscle->heart_cmh2o);
}

/* Triggered, and nothing of an effort to be seen. */
static bool empty(const struct pattern_window *w, int k, const double *p)
{
    const struct pattern_breath *b = &w->at[k];
    return acts_triggered(b->row) && acts_unfit(w, k) == WHY_NONE && b->muscle->read && b->muscle->after_cmh2o < limit(b, p) &&
           !acts_own(w, k);
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    if (!acts_triggered(b->row))
        return;
    out->unjudged = acts_unfit(w, w->own);
    if (out->unjudged == WHY_NONE && b->muscle->quality < MECHANICS_FAIR)
        out->unjudged = WHY_no_mechanics;
    if (out->unjudged != WHY_NONE || !empty(w, w->own, p))
        return;
    int from = w->own - 5, alike = 0;
    from = from < 0 ? 0 : from;
    for (int k = from; k < w->n && k < from + 10; k++)
        alike += empty(w, k, p);
    bool heart = b->muscle->heart_cmh2o > HEART_LEAST, leak = b->row->v[COL_leak_pct] > LEAK_LEAST;
    if ((heart || leak ? 2 : 1) * alike < p[OF_TEN])
        return;
    out->confidence = CONF_POSSIBLE;
    out->at_ns = b->row->t0_ns;
    evidence_number(out, "after_cmh2o", b->muscle->after_cmh2o, 2);
    evidence_number(out, "sd_cmh2o", b->muscle->after_sd, 2);
    evidence_word(out, "cause", heart ? "heart" : leak ? "leak" : "none_seen");
    evidence_number(out, "of_ten", alike, 0);
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
