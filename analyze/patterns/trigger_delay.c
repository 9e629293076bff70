/* Trigger delay: a long time from the start of the effort to the inflation. */
#include "analyze/patterns/acts.h"

#define MOST_S 1.3 /* no effort waits for longer, but there may have been another one before it */
#define SURE_MOST_S 0.65

enum param { DELAY, SURE, SIZE, HEART };

static const struct pattern_param params[] = {
    {"delay_s", "s", 0.2, 0.15, 0.4, "Least delay: the middle of the band from 0.12 to 0.25 s, for a start is found late rather than early.",
     "common practice, no source"},
    {"sure_s", "s", 0.33, 0.2, 0.6, "... over which it may be definite.", "common practice, no source"},
    {"size_cmh2o", "cm[H2O]", 2, 1, 5, "Least size of the effort.", "common practice, no source"},
    {"heart_cmh2o", "cm[H2O]", 0.6, 0.2, 2, "The heart's bump over which it is not judged: a beat moves the start.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"delay_s", "s", "from the start of the effort to the inflation"},
    ACTS_EVIDENCE,
    {"heart_cmh2o", "cm[H2O]", "the heart's bump"},
    {"thr_s", "s", "threshold that was used"},
    {0},
};

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    if (!acts_triggered(b->row) || b->row->pattern[PATTERN_auto_trigger]) /* no effort of its own */
        return;
    out->unjudged = acts_unfit(w, w->own);
    if (out->unjudged != WHY_NONE)
        return;
    if (b->muscle->read && b->muscle->heart_cmh2o > p[HEART]) {
        out->unjudged = WHY_below_resolution;
        return;
    }
    const struct effort *e = acts_own(w, w->own);
    double delay = e ? acts_s(e->start_ns, b->row->t0_ns) : 0;
    if (!e || delay < p[DELAY] || delay > MOST_S || e->peak_cmh2o < p[SIZE])
        return;
    bool sure = delay > p[SURE] && delay < SURE_MOST_S && e->confidence == CONF_DEFINITE && w->rate_hz >= 50 && !(b->row->v[COL_leak_pct] > 20);
    out->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    out->at_ns = e->start_ns;
    evidence_number(out, "delay_s", delay, 2);
    acts_evidence(out, e);
    if (b->muscle->read)
        evidence_number(out, "heart_cmh2o", b->muscle->heart_cmh2o, 2);
    evidence_number(out, "thr_s", p[DELAY], 2);
}

const struct pattern pattern_trigger_delay = {
    .signature = "Expired flow bends towards zero, then pressure dips, and only then the machine delivers. Where gas is trapped the bend comes "
                 "long before flow reaches zero.",
    .confidence = "Definite: over 0.33 s with a sure effort, from 50 Hz, leak up to 20 %. Else possible.",
    .alike = "A heartbeat before the inflation, the end of a push, a drifting leak.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
