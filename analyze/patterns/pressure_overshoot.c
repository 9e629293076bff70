/* Pressure overshoot: a peak early in a pressure-controlled inflation. */
#include "analyze/patterns/acts.h"

enum param { OVER, SHARE };

#define PLATEAU_LEAST_S 0.2

static const struct pattern_param params[] = {
    {"over_cmh2o", "cm[H2O]", 2.25, 1.5, 5, "Least height of the peak over the later plateau: the middle of the band from 1.5 to 3.",
     "common practice, no source"},
    {"over_pct", "%", 12, 5, 30, "... and in % of the plateau above the pressure it began from.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"over_cmh2o", "cm[H2O]", "peak less plateau"},
    {"over_pct", "%", "the same in % of the plateau above the start"},
    {"plateau_cmh2o", "cm[H2O]", "median pressure from 40 to 80 % of inspiration"},
    {"peak_after_s", "s", "the peak after the start of the inflation"},
    {"flow_l_s", "L/s", "flow at the peak"},
    {"thr_cmh2o", "cm[H2O]", "threshold that was used"},
    {0},
};

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct breath_row *row = w->at[w->own].row;
    const struct overshoot *x = w->at[w->own].over;
    if (row->control != CONTROL_PRESSURE)
        return;
    if (row->quality & UINT64_C(1) << WHY_event || row->quality & UINT64_C(1) << WHY_gap) {
        out->unjudged = row->quality & UINT64_C(1) << WHY_event ? WHY_event : WHY_gap;
        return;
    }
    if (isnan(x->over_cmh2o)) {
        out->unjudged = WHY_breath_short;
        return;
    }
    double over = x->over_cmh2o, share = 100 * over / fmax(x->plateau_cmh2o - x->foot_cmh2o, 0.5);
    if (over < p[OVER] || share < p[SHARE])
        return;
    bool sure = over > 3 && share > 15 && w->rate_hz >= 50 && x->plateau_s >= PLATEAU_LEAST_S * w->time_scale;
    out->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    out->at_ns = x->at_ns;
    evidence_number(out, "over_cmh2o", over, 2);
    evidence_number(out, "over_pct", share, 0);
    evidence_number(out, "plateau_cmh2o", x->plateau_cmh2o, 2);
    evidence_number(out, "peak_after_s", acts_s(row->t0_ns, x->at_ns), 2);
    evidence_number(out, "flow_l_s", x->peak_flow_l_s, 2);
    evidence_number(out, "thr_cmh2o", p[OVER], 2);
}

const struct pattern pattern_pressure_overshoot = {
    .signature = "Pressure control: pressure passes its later plateau within 0.3 s of the start, with a spike of flow.",
    .confidence = "Definite: over 3 cmH2O and 15 %, from 50 Hz, with a plateau of 0.2 s. Else possible.",
    .alike = "An early push or relaxation (flow falls while pressure rises), ringing of water in the tubing, a rise at the end of inspiration.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
