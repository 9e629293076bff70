/* Ineffective effort: muscles pull, and no breath follows. */
#include "analyze/patterns/acts.h"

enum param { SIZE, INSIDE, HEARTS, DEAD, RISE, SDS };

#define GUARD_NS (NS_PER_S / 50)

static const struct pattern_param params[] = {
    {"size_cmh2o", "cm[H2O]", 1.5, 1, 3, "Least size of an effort in expiration.", "common practice, no source"},
    {"inside_cmh2o", "cm[H2O]", 3, 2, 5, "Least size of an effort during an inflation that it did not start: there errors of the lung's "
     "constants are larger.", "common practice, no source"},
    {"heart_ratio", "", 2, 1.5, 3, "Least size in bumps of this patient's heart: the largest beat of thousands is near twice the usual one.",
     "common practice, no source"},
    {"dead_s", "s", 0.2, 0.1, 0.4, "After the start of expiration nothing counts for so long: there the valve's step stands; half of it in "
     "infants.", "common practice, no source"},
    {"rise_share", "", 0.6, 0, 1, "Least rise to the peak as a share of its size: what hardly rises and then falls deep is the start of a push.",
     "common practice, no source"},
    {"sds", "", 1.3, 1, 3, "Least size in its own standard deviations.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    ACTS_EVIDENCE,
    {"dur_s", "s", "from its start to its neural end"},
    {"where", "", "expiration, or inflation: what it fell in"},
    {"after_s", "s", "its start after the start of that phase"},
    {"thr_cmh2o", "cm[H2O]", "threshold that was used"},
    {0},
};

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct breath_row *row = w->at[w->own].row;
    out->unjudged = acts_unfit(w, w->own);
    const struct effort *e;
    int i = 0, met = 0;
    const int64_t dead = (int64_t)(p[DEAD] * w->time_scale * 1e9);
    while (out->unjudged == WHY_NONE && (e = acts_next(w, w->own, &i)) != NULL) {
        bool inside = e->start_ns < row->t1_ns;
        if (inside ? !(row->kind != KIND_UNASSISTED && e->start_ns > row->t0_ns + (row->initiation == INIT_PATIENT ? NS_PER_S / 10 : GUARD_NS)) : e->start_ns < row->t1_ns + dead)
            continue;
        double least = fmax(inside ? p[INSIDE] : p[SIZE], 0);
        if (e->peak_cmh2o < fmax(least, p[SDS] * e->sd_cmh2o) || e->rise_cmh2o < p[RISE] * e->peak_cmh2o || !acts_over_heart(w, w->own, e, p[HEARTS]) || acts_answered(w, e) ||
            acts_at_spike(w, w->own, e) || met++ < w->nth)
            continue;
        double dur = acts_s(e->start_ns, e->neural_end_ns);
        out->confidence = CONF_POSSIBLE; /* until dip and bend are compared in time: sizes alone were right in a third of those called sure */
        out->more = true;
        out->at_ns = e->start_ns;
        acts_evidence(out, e);
        evidence_number(out, "dur_s", dur, 2);
        evidence_word(out, "where", inside ? "inflation" : "expiration");
        evidence_number(out, "after_s", acts_s(inside ? row->t0_ns : row->t1_ns, e->start_ns), 2);
        evidence_number(out, "thr_cmh2o", fmax(least, w->at[w->own].muscle->read ? p[HEARTS] * w->at[w->own].muscle->heart_cmh2o : 0), 2);
        return;
    }
}

const struct pattern pattern_ineffective_effort = {
    .signature = "In expiration flow bends towards zero for 0.3 to 1 s, often with a dip of pressure, and falls back; during an inflation "
                 "pressure dips (volume control) or flow rises once more.",
    .confidence = "Always possible: to be definite the bend of flow and the dip of pressure would have to agree in time, which this version "
                  "doesn't check. The evidence has the size and its error.",
    .alike = "The heart (regular: the size has to be twice its bump); secretions; the end of a push; an effort that began before the "
             "inflation ended (early termination). Limited flow hides efforts.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
