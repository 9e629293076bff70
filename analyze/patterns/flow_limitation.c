/* Expiratory flow limitation: flow out that more driving pressure would not raise.
 *
 * Three signs, medians over neighbours, leaving out breaths in whose expiration muscles are at work (limited flow looks like a
 * pull against it: where flow never rises again, none let go); one of them is enough:
 *   yield  airway pressure still falls, by more than the lung's own does, and flow does not rise but fall: the definition
 *          itself, tried by the valve as it opens (outflow.h). Gas of wide airways that empties at first looks the same:
 *          where the resistance of inspiration is known, flow out has to meet more.
 *   meets  from the valve's opening on, flow out meets a multiple of the resistance of inspiration, and lies on its tail's line
 *   spike  the airways' collapse leaves a spike on top of a slow tail: peak flow stands over the tail's line drawn back to the
 *          start, and falls within 0.15 s by more than the tail's time constant explains. Unlimited flow starts below that
 *          line, for the valve opens slowly and resistance grows with flow. */
#include "analyze/breath/order.h"
#include "analyze/patterns/pattern.h"

enum param { RATIO, DROP, DROP_MARGIN, TAU, YIELD, MEETS, MEETS_LEAST, BREATHS, LEAK };

#define DROP_S      0.15
#define FEWEST      3
#define CALM        0.05 /* of peak flow: an effort that lets go gives more of it back */
#define RATE_LEAST  25.0
#define YIELD_SURE  0.1
#define YIELD_SPIKE 0.015 /* secretions tremble, and a spike of theirs has nothing to do with the valve */
#define YIELD_HINT  0.01
#define MEETS_HINT  2.1 /* a little under what a fit is refused for */
#define FROM_START  0.95  /* peak over the line: limited flow is the line's from the start, free flow waits for the valve */
#define BREATHS_SURE 8
#define WINDOW      (2 * PATTERN_REACH + 1)

static const struct pattern_param params[] = {
    {"peak_ratio", "", 1.02, 0.9, 1.3, "Spike: peak flow over the tail's line at the start of expiration that has to be passed.",
     "simulated lungs, 300 of each kind; no published value"},
    {"drop_factor", "", 1.7, 1, 4, "Spike: fall of flow within 0.15 s of its peak over what the tail's time constant explains.",
     "simulated lungs, 300 of each kind; no published value"},
    {"drop_margin", "", 0.1, 0, 0.4, "... and this much more: tissue that relaxes and a second compartment lose a tenth so soon.",
     "common practice, no source"},
    {"tau_s", "s", 0.8, 0.2, 3, "Spike: time constant of the tail that has to be passed; of an adult, times less in smaller patients.",
     "common practice, no source"},
    {"yield", "", 0.04, 0.01, 0.5, "Yield: driving pressure that was added while flow fell, over all of it, that has to be passed; 0 "
     "in a lung that follows.", "equation of motion: noise and the flow's lag allow for 0.02"},
    {"meets", "", 2.3, 1.3, 6, "Meets: resistance to flow out over that to flow in that has to be passed. Unlimited lungs stay under "
     "2, with a tube a little over.", "common practice, no source; 2.5 over the whole of a limited expiration is published as its sign"},
    {"meets_least", "", 1.2, 0, 3, "... and where it is known, for the other two signs.", "common practice, no source"},
    {"breaths", "", 25, 3, 25, "Breaths of which medians are taken, half of them later.", "common practice, no source"},
    {"leak_pct", "%", 20, 0, 60, "Leak over which it is not judged.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"sign", "", "what told it: yield, meets or spike"},
    {"yield", "", "driving pressure that was added while flow fell, over all of it, median"},
    {"meets", "", "resistance to flow out, once the valve is open, over that to flow in, median"},
    {"peak_ratio", "", "peak flow over the tail's line at the start, median"},
    {"drop", "", "share of the peak that is gone 0.15 s later, median"},
    {"drop_thr", "", "the drop that had to be passed for a spike"},
    {"tau_s", "s", "time constant of the tail, median"},
    {"breaths", "", "breaths that the medians are of"},
    {"rex_ratio", "", "resistance of the last part over the tracked resistance of inspiration and expiration, this breath"},
    {"test", "", "natural test that was seen: valve (the fall of pressure as it opens), or none"},
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

struct many {
    double v[WINDOW];
    int n;
};

static void keep(struct many *m, double v)
{
    if (!isnan(v))
        m->v[m->n++] = v;
}

static double middle(struct many *m)
{
    return m->n < FEWEST ? (double)NAN : order_median(m->v, m->n);
}

static struct limitation_signs signs_of(const struct pattern_window *w, int half, double leak_pct)
{
    struct many ratio = {.n = 0}, drop = {.n = 0}, tau = {.n = 0}, yield = {.n = 0}, meets = {.n = 0};
    int n = 0;
    for (int i = w->own > half ? w->own - half : 0; i < w->n && i <= w->own + half; i++) {
        const struct expiration *x = w->at[i].exp;
        if (expiration_unfit(&w->at[i], leak_pct) != WHY_NONE || (x->disturbed && !(x->out.rises < CALM)))
            continue;
        const bool line = x->why_tail == WHY_NONE;
        n += line || !isnan(x->out.yield);
        keep(&ratio, line ? x->peak_ratio : (double)NAN);
        keep(&drop, line ? x->drop : (double)NAN);
        keep(&tau, line ? x->tau_s : (double)NAN);
        keep(&yield, x->out.yield);
        if (x->ri_cmh2o_s_l > 0 && x->out.open_l_s > 0)
            keep(&meets, outflow_meets(&x->out, x->ri_cmh2o_s_l, line ? fmax(x->vte_l, x->q0_l_s * x->tau_s) : x->vte_l) /
                             x->ri_cmh2o_s_l);
    }
    return (struct limitation_signs){middle(&ratio), middle(&drop), middle(&tau), middle(&yield), middle(&meets), n, true};
}

bool flow_limitation_suspected(struct pattern_window *w, const double *p)
{
    const struct limitation_signs s = w->limited = signs_of(w, (int)p[BREATHS] / 2, p[LEAK]);
    const double passive = drop_least(s.tau_s, p[DROP], p[DROP_MARGIN]);
    return s.yield > YIELD_HINT || (s.meets > MEETS_HINT && s.ratio > FROM_START) || (s.ratio > p[RATIO] && s.drop > passive);
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *own = &w->at[w->own];
    out->unjudged = w->rate_hz < RATE_LEAST ? WHY_rate_low : expiration_unfit(own, p[LEAK]);
    if (out->unjudged != WHY_NONE)
        return;
    const struct limitation_signs s = w->limited.read ? w->limited : signs_of(w, (int)p[BREATHS] / 2, p[LEAK]);
    if (s.breaths < FEWEST) {
        out->unjudged = WHY_few_breaths;
        return;
    }
    double passive = drop_least(s.tau_s, p[DROP], p[DROP_MARGIN]);
    const bool hindered = !(s.meets <= p[MEETS_LEAST]);
    const bool yields = hindered && s.yield > p[YIELD];
    const bool stands = s.meets > p[MEETS] && s.ratio > FROM_START;
    const bool spike = hindered && !(s.yield < YIELD_SPIKE) && s.ratio > p[RATIO] && s.drop > passive && s.tau_s > p[TAU] * w->time_scale;
    if (!yields && !spike && !stands)
        return;
    bool sure = yields && s.yield > YIELD_SURE && s.meets > p[MEETS_LEAST] && s.breaths >= BREATHS_SURE && !(s.ratio > p[RATIO]);
    out->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    out->at_ns = own->row->t1_ns;
    evidence_word(out, "sign", yields ? "yield" : stands ? "meets" : "spike");
    evidence_number(out, "yield", s.yield, 3);
    evidence_number(out, "meets", s.meets, 2);
    evidence_number(out, "peak_ratio", s.ratio, 3);
    evidence_number(out, "drop", s.drop, 3);
    evidence_number(out, "drop_thr", passive, 3);
    evidence_number(out, "tau_s", s.tau_s, 2);
    evidence_number(out, "breaths", s.breaths, 0);
    if (!isnan(own->exp->r_end_cmh2o_s_l) && own->exp->re_cmh2o_s_l > 0)
        evidence_number(out, "rex_ratio", own->exp->r_end_cmh2o_s_l / own->exp->re_cmh2o_s_l, 2);
    evidence_word(out, "test", yields ? "valve" : "none");
}

const struct pattern pattern_flow_limitation = {
    .signature = "Expired flow does not follow the pressure that falls as the valve opens, or starts far lower than the resistance of "
                 "inspiration lets it, or spikes and falls abruptly; then it runs long, low and nearly straight.",
    .confidence = "Definite: while airway pressure fell by a tenth of the driving pressure more than the lung's own, flow fell, in at "
                  "least 8 breaths without a spike, and meets more resistance than in inspiration. Else possible.",
    .alike = "Unequal lungs (two slopes, but flow follows the valve), a tube or valve whose resistance grows with flow (it holds back "
             "inspiration too), wide airways that empty first (a spike, but no more resistance than in inspiration), braking, "
             "secretions, a leak that bends the tail. Breaths in whose expiration muscles are at work are left out.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
