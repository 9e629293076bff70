/* Expiratory flow limitation: flow out that more driving pressure would not raise.
 *
 * The airways' collapse leaves a spike on top of a slow tail: peak flow stands over the tail's line drawn back to the start, and
 * falls within 0.15 s by more than the tail's time constant explains. Unlimited flow starts below that line, for the valve opens
 * slowly and resistance grows with flow. Medians over neighbours, leaving out breaths in whose expiration muscles are at work. */
#include "analyze/breath/order.h"
#include "analyze/patterns/pattern.h"

enum param { RATIO, DROP, DROP_MARGIN, TAU, BREATHS, LEAK };

#define DROP_S     0.15
#define FEWEST     3
#define RATE_LEAST 25.0

static const struct pattern_param params[] = {
    {"peak_ratio", "", 1.02, 0.9, 1.3, "Peak flow over the tail's line at the start of expiration that has to be passed.",
     "simulated lungs, 300 of each kind; no published value"},
    {"drop_factor", "", 1.7, 1, 4, "Fall of flow within 0.15 s of its peak over what the tail's time constant explains.",
     "simulated lungs, 300 of each kind; no published value"},
    {"drop_margin", "", 0.1, 0, 0.4, "... and this much more: tissue that relaxes and a second compartment lose a tenth so soon.",
     "common practice, no source"},
    {"tau_s", "s", 0.8, 0.2, 3, "Time constant of the tail that has to be passed; of an adult, times less in smaller patients.",
     "common practice, no source"},
    {"breaths", "", 25, 3, 25, "Breaths of which medians are taken, half of them later.", "common practice, no source"},
    {"leak_pct", "%", 20, 0, 60, "Leak over which it is not judged.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"peak_ratio", "", "peak flow over the tail's line at the start, median"},
    {"drop", "", "share of the peak that is gone 0.15 s later, median"},
    {"drop_thr", "", "the drop that had to be passed"},
    {"tau_s", "s", "time constant of the tail, median"},
    {"breaths", "", "breaths that the medians are of"},
    {"rex_ratio", "", "resistance of the last part over the tracked resistance of inspiration and expiration, this breath"},
    {"test", "", "natural test that was seen: none"},
    {0},
};

static double drop_least(double tau_s, double factor, double margin)
{
    return factor * (1 - exp(-DROP_S / tau_s)) + margin;
}

bool flow_limitation_shape(const struct expiration *x, double time_scale)
{
    return x->why_tail == WHY_NONE && x->peak_ratio > params[RATIO].dflt && x->tau_s > params[TAU].dflt * time_scale &&
           x->drop > drop_least(x->tau_s, params[DROP].dflt, params[DROP_MARGIN].dflt);
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *own = &w->at[w->own];
    double ratio[2 * PATTERN_REACH + 1], drop[2 * PATTERN_REACH + 1], tau[2 * PATTERN_REACH + 1];
    int n = 0, half = (int)p[BREATHS] / 2;
    out->unjudged = w->rate_hz < RATE_LEAST ? WHY_rate_low : expiration_unfit(own, p[LEAK]);
    if (out->unjudged != WHY_NONE)
        return;
    for (int i = w->own > half ? w->own - half : 0; i < w->n && i <= w->own + half; i++) {
        const struct expiration *x = w->at[i].exp;
        if (expiration_unfit(&w->at[i], p[LEAK]) != WHY_NONE || x->disturbed || x->why_tail != WHY_NONE)
            continue;
        ratio[n] = x->peak_ratio;
        drop[n] = x->drop;
        tau[n++] = x->tau_s;
    }
    if (n < FEWEST) {
        out->unjudged = WHY_few_breaths;
        return;
    }
    double r = order_median(ratio, n), d = order_median(drop, n), t = order_median(tau, n);
    double passive = drop_least(t, p[DROP], p[DROP_MARGIN]);
    if (!(r > p[RATIO] && d > passive && t > p[TAU] * w->time_scale))
        return;
    out->confidence = CONF_POSSIBLE;
    out->at_ns = own->row->t1_ns;
    evidence_number(out, "peak_ratio", r, 3);
    evidence_number(out, "drop", d, 3);
    evidence_number(out, "drop_thr", passive, 3);
    evidence_number(out, "tau_s", t, 2);
    evidence_number(out, "breaths", n, 0);
    if (!isnan(own->exp->r_end_cmh2o_s_l) && own->exp->re_cmh2o_s_l > 0)
        evidence_number(out, "rex_ratio", own->exp->r_end_cmh2o_s_l / own->exp->re_cmh2o_s_l, 2);
    evidence_word(out, "test", "none");
}

const struct pattern pattern_flow_limitation = {
    .signature = "Expired flow spikes, falls abruptly, then runs long, low and nearly straight.",
    .confidence = "Always possible: from undisturbed breathing limitation is inferred, not seen. Definite would take a natural test, "
                  "which this version does not look for.",
    .alike = "Unequal lungs (two slopes, but no spike above the tail's line), a tube or valve whose resistance grows with flow (the "
             "peak stays under the line), braking, secretions, a leak that bends the tail. Breaths in whose expiration muscles are "
             "at work are left out.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
