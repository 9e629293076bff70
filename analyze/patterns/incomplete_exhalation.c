/* Incomplete exhalation: the next inspiration starts before the lung has emptied.
 *
 * Alveolar less airway pressure at the end of expired flow, before the next effort: what a hold shows, else R q with R from
 * the same expiration's last part (limited flow meets more there than a passive fit says), else the tracked (Re + K2 q) q.
 * Where that says little: what the tail's line leaves of the driving pressure that inspiration ended with. The flow is the
 * sensor's less leak. A patient who pushes keeps flow up: neither then (pattern.c takes the flag back). */
#include "analyze/patterns/pattern.h"

enum param { FLOW, SURE_FLOW, PRESSURE, SURE_PRESSURE, LEAK };

static const struct pattern_param params[] = {
    {"flow_l_s", "L/s", 0.05, 0.03, 0.1, "Expired flow that still has to run when the next effort or inflation starts; of an adult, "
     "times 0.1 in infants.", "common practice, no source"},
    {"sure_flow_l_s", "L/s", 0.08, 0.03, 0.3, "... over which it may be definite.", "common practice, no source"},
    {"pressure_cmh2o", "cm[H2O]", 1.0, 0.5, 5, "Alveolar over airway pressure at that instant: the middle of the band in which "
     "readers disagree, 0.5 to 1.5, for without a hold the estimate is a lower bound.", "common practice, no source"},
    {"sure_pressure_cmh2o", "cm[H2O]", 1.5, 0.5, 10, "... which the estimate less one standard deviation has to pass to be definite.",
     "common practice, no source"},
    {"leak_pct", "%", 60, 0, 80, "Leak over which it is not judged.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"flow_l_s", "L/s", "expired flow at the end, less leak"},
    {"pressure_cmh2o", "cm[H2O]", "alveolar over airway pressure, estimated"},
    {"sd_cmh2o", "cm[H2O]", "its standard deviation"},
    {"basis", "", "hold, local (resistance of this expiration's last part), tracked, assumed, or drive (what its tail leaves of the "
     "driving pressure)"},
    {"r_cmh2o_s_l", "cm[H2O].s/L", "resistance that was used"},
    {"te_over_tau", "", "length of expiration in time constants of its tail"},
    {"until", "", "effort or inflation: what ended expired flow"},
    {"thr_cmh2o", "cm[H2O]", "threshold that was used"},
    {0},
};

#define PUSHED    2.0 /* a second compartment keeps up to so many times the flow of the tail's line */
#define BRAKED    4.0 /* an effort within it holds flow back for a while, which then comes later */
#define ENOUGH_CMH2O 1.5 /* flow alone tells: the drive is not asked */
#define PULLS_S 0.1   /* the last of it, while the effort pulls */
#define LEAK_LARGE_PCT 30.0
#define LEAK_WRONG 0.3
#define SHORT_TAUS 1.0 /* of the tracked mechanics */
#define R_ASSUMED 10.0 /* cmH2O s/L: a tube and an ordinary lung; an infant's is larger as its flow is smaller */

struct estimate {
    double cmh2o, sd, r;
    const char *basis;
    bool sure;
};

/* What of the driving pressure at the end of inspiration is left if flow goes on as its tail's line says. The line ends where
 * flow does, at PEEP or above: a lower bound, limited or not, and no resistance is asked for. */
static double left_of_drive(const struct pattern_window *w, const struct expiration *x)
{
    const double r_in = isnan(x->ri_cmh2o_s_l) ? R_ASSUMED / w->flow_scale : x->ri_cmh2o_s_l;
    if (x->why_tail != WHY_NONE || isnan(x->out.drive_cmh2o))
        return 0;
    return (x->out.drive_cmh2o - r_in * fmax(0, x->out.q_in_l_s)) * exp(-x->te_s / x->tau_s);
}

static struct estimate by_flow(const struct pattern_window *w, const struct expiration *x, double q)
{
    if (!isnan(x->r_end_cmh2o_s_l)) {
        double passive = x->e_measured ? x->re_cmh2o_s_l + (isnan(x->k2) ? 0 : x->k2 * q) : 0;
        double r = fmax(x->r_end_cmh2o_s_l, passive); /* limited flow meets more; an effort's first pull makes it look less */
        return (struct estimate){r * q, q * hypot(r * x->e_sd_ln, x->r_end_sd), r, "local", x->e_measured};
    }
    if (!isnan(x->re_cmh2o_s_l)) {
        double r = x->re_cmh2o_s_l + (isnan(x->k2) ? 0 : x->k2 * q);
        return (struct estimate){r * q, 0.3 * r * q, r, "tracked", x->e_measured};
    }
    double r = R_ASSUMED / w->flow_scale;
    return (struct estimate){r * q, 0.5 * r * q, r, "assumed", false};
}

static struct estimate estimate(const struct pattern_window *w, const struct pattern_breath *b, double q)
{
    const struct breath_row *row = b->row;
    const double none = (double)NAN;
    if (row->autopeep_basis == AUTOPEEP_HOLD && !isnan(row->v[COL_autopeep_cmh2o]))
        return (struct estimate){row->v[COL_autopeep_cmh2o], 0.3, none, "hold", true};
    struct estimate e = by_flow(w, b->exp, q);
    const double left = left_of_drive(w, b->exp);
    return e.cmh2o < ENOUGH_CMH2O && left > e.cmh2o ? (struct estimate){left, 0.3 * left, none, "drive", false} : e;
}

/* A passive lung's flow dies away with the time constant that its fall with volume shows; muscles keep it up. */
static bool pushed(const struct expiration *x)
{
    if (isnan(x->tau_s)) /* in so short an expiration flow is still high by itself */
        return x->cut && !x->braked && !(x->te_s < SHORT_TAUS * x->re_cmh2o_s_l / x->e_cmh2o_l);
    if (x->braked && isnan(x->effort_cmh2o)) /* that effort is over, and no other is known to follow */
        return false;
    return x->q_end_l_s > (x->braked ? BRAKED : PUSHED) * x->q0_l_s * exp(-x->te_s / x->tau_s);
}

/* Expired flow at the end. Of a leak so much may be wrong; an effort that triggers the next breath and was not found by itself
 * has pulled at it: the tail's line tells what flowed before. */
static double flow_at_end(const struct pattern_window *w, const struct expiration *x)
{
    const bool assisted = w->at[w->own].row->initiation == INIT_PATIENT; /* the next breath's is not known yet */
    double q = x->q_end_l_s;
    if (assisted && !x->cut && !isnan(x->tau_s) && !x->braked)
        q = fmax(q, x->q0_l_s * exp(-(x->te_s - PULLS_S * w->time_scale) / x->tau_s));
    return w->at[w->own].row->v[COL_leak_pct] > LEAK_LARGE_PCT ? q - LEAK_WRONG * fabs(x->leak_l_s) : q;
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    const struct expiration *x = b->exp;
    out->unjudged = expiration_unfit(b, p[LEAK]);
    if (out->unjudged != WHY_NONE)
        return;
    const double q = flow_at_end(w, x);
    if (!(q > p[FLOW] * w->flow_scale))
        return;
    if (pushed(x) || (b->row->autopeep_basis != AUTOPEEP_HOLD && expiratory_effort_shape(b, w->time_scale))) {
        out->unjudged = WHY_effort_suspected;
        return;
    }
    struct estimate e = estimate(w, b, q);
    if (!(e.cmh2o > p[PRESSURE]))
        return;
    if (x->cut && e.cmh2o > x->effort_cmh2o) { /* no effort turns flow against more than it is: it began later */
        out->unjudged = WHY_effort_suspected;
        return;
    }
    bool sure = e.sure && fmin(q, x->q_end_l_s) > p[SURE_FLOW] * w->flow_scale && e.cmh2o - e.sd > p[SURE_PRESSURE] &&
                !(b->row->v[COL_leak_pct] > 10);
    out->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    out->at_ns = x->end_ns;
    evidence_number(out, "flow_l_s", q, 3);
    evidence_number(out, "pressure_cmh2o", e.cmh2o, 2);
    evidence_number(out, "sd_cmh2o", e.sd, 2);
    evidence_word(out, "basis", e.basis);
    if (!isnan(e.r))
        evidence_number(out, "r_cmh2o_s_l", e.r, 1);
    if (x->why_tail == WHY_NONE)
        evidence_number(out, "te_over_tau", x->te_s / x->tau_s, 2);
    evidence_word(out, "until", x->cut ? "effort" : "inflation");
    evidence_number(out, "thr_cmh2o", p[PRESSURE], 2);
}

const struct pattern pattern_incomplete_exhalation = {
    .signature = "Flow jumps from outward to inspiration without coming to rest; the expiration is shorter than about three of its "
                 "time constants.",
    .confidence = "Definite: the pressure comes of a hold or of mechanics that fits or holds measured, less one standard deviation "
                  "still over its threshold, at a leak up to 10 %. Else possible. In unequal lungs a lower bound.",
    .alike = "A sensor that reads outward at rest or added gas (a constant flow, taken out with the leak); a push of the muscles. A "
             "leak past the sensor hides it, and so do closed airways, in which nothing flows.",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
