/* Expiratory effort: muscles push gas out. */
#include "analyze/patterns/acts.h"

enum param { DEPTH, LASTS, LEAK };

static const struct pattern_param params[] = {
    {"depth_cmh2o", "cm[H2O]", 2, 1.5, 6, "How far muscle pressure lies below the level of the same expiration.", "common practice, no source"},
    {"lasts_s", "s", 0.2, 0.1, 0.5, "For how long, at half of that.", "common practice, no source"},
    {"leak_pct", "%", 20, 0, 40, "Leak over which it is not judged.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"depth_cmh2o", "cm[H2O]", "muscle pressure below the level of the same expiration"},
    {"dur_s", "s", "for how long, at half of that"},
    {"mechanics", "", "good, fair or poor: how well the constants behind it are known"},
    {"thr_cmh2o", "cm[H2O]", "threshold that was used"},
    {0},
};

static double least(const struct muscle *m, double depth)
{
    return fmax(depth, 2 * m->heart_cmh2o);
}

bool expiratory_effort_shape(const struct pattern_breath *b, double time_scale)
{
    const struct muscle *m = b->muscle;
    return m && m->read && m->push_cmh2o > least(m, params[DEPTH].dflt) && m->push_s >= params[LASTS].dflt * time_scale;
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    out->unjudged = acts_unfit(w, w->own);
    if (out->unjudged == WHY_NONE && b->row->v[COL_leak_pct] > p[LEAK])
        out->unjudged = WHY_leak_high;
    if (out->unjudged == WHY_NONE && (!b->muscle->read || isnan(b->muscle->push_cmh2o)))
        out->unjudged = b->muscle->read ? WHY_breath_short : WHY_no_mechanics;
    const double thr = least(b->muscle, p[DEPTH]);
    if (out->unjudged != WHY_NONE || !(b->muscle->push_cmh2o > thr) || b->muscle->push_s < p[LASTS] * w->time_scale)
        return;
    out->confidence = CONF_POSSIBLE;
    out->at_ns = b->muscle->push_ns;
    evidence_number(out, "depth_cmh2o", b->muscle->push_cmh2o, 2);
    evidence_number(out, "dur_s", b->muscle->push_s, 2);
    evidence_word(out, "mechanics", acts_quality(b->muscle->quality));
    evidence_number(out, "thr_cmh2o", thr, 2);
}

const struct pattern pattern_expiratory_effort = {
    .signature = "Expired flow above the passive curve that doesn't decay and stops at once; pressure above PEEP by what flow makes in the limb.",
    .confidence = "Never definite without oesophageal or gastric pressure.",
    .alike = "A wrong elastance or a drifting volume (slow), a cough (an event of its own), the end of an effort.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
