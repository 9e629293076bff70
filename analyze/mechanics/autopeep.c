#include "analyze/mechanics/autopeep.h"

#include <math.h>

#define HALF_WINDOW_S 0.025
#define BELOW_CMH2O (-1.0) /* an intercept so far under PEEP is no pressure of a passive lung's */

/* Flow out at the very end of expiration. */
static double end_flow(const struct autopeep_in *in)
{
    double q = in->q_l_s > 0 ? in->q_l_s : 0;
    return in->own.tau_s > 0 ? q * exp(-(HALF_WINDOW_S + in->own.lag_s) / in->own.tau_s) : q;
}

static double by_flow(const struct autopeep_in *in, enum reason *why)
{
    *why = in->dead_band ? WHY_below_resolution : !in->own.there ? in->own.why : WHY_NONE;
    if (*why == WHY_NONE && in->q_l_s < -in->q_least_l_s)
        *why = WHY_leak_high; /* gas goes in at the end of expiration */
    if (*why != WHY_NONE)
        return (double)NAN;
    double q = end_flow(in);
    return (in->own.re_cmh2o_s_l + in->own.k2 * q) * q;
}

static double by_fit(const struct autopeep_in *in, enum reason *why)
{
    *why = !in->next_follows ? WHY_effort_suspected : !in->next.there ? in->next.why : WHY_NONE;
    if (*why == WHY_NONE && in->next.p0_cmh2o - in->peep_cmh2o < BELOW_CMH2O)
        *why = WHY_fit_poor;
    return *why == WHY_NONE ? in->next.p0_cmh2o - in->peep_cmh2o : (double)NAN;
}

static void trapped(const struct autopeep_in *in, struct autopeep_out *out)
{
    const struct autopeep_fit *f = &in->own;
    out->why_tau = out->why_trapped = f->there ? WHY_NONE : f->why;
    if (!f->there)
        return;
    out->tau_s = f->tau_s;
    if (isnan(f->tau_s))
        out->why_tau = WHY_breath_short;
    if (isnan(out->flow_cmh2o)) {
        out->why_trapped = out->why_flow;
        return;
    }
    double q = end_flow(in);
    double tau = isnan(f->tau_s) || f->k2 > 0 ? (f->re_cmh2o_s_l + f->k2 * q) / f->e_cmh2o_l : f->tau_s;
    out->trapped_ml = 1000 * tau * q;
}

void autopeep_of(const struct autopeep_in *in, struct autopeep_out *out)
{
    const double none = (double)NAN;
    *out = (struct autopeep_out){.total_cmh2o = none, .auto_cmh2o = none, .flow_cmh2o = none, .fit_cmh2o = none,
                                 .trapped_ml = none, .tau_s = none};
    enum reason why = in->why != WHY_NONE ? in->why : in->effort ? WHY_effort_suspected : WHY_NONE;
    if (why == WHY_NONE && (isnan(in->q_l_s) || isnan(in->peep_cmh2o)))
        why = WHY_gap;
    out->why_flow = out->why_fit = out->why_trapped = out->why_tau = why;
    if (why == WHY_NONE) {
        out->flow_cmh2o = by_flow(in, &out->why_flow);
        out->fit_cmh2o = by_fit(in, &out->why_fit);
        trapped(in, out);
    }
    if (in->held && in->hold_why == WHY_NONE) {
        out->total_cmh2o = in->hold_total_cmh2o;
        out->auto_cmh2o = in->hold_total_cmh2o - in->hold_peep_cmh2o;
        out->basis = AUTOPEEP_HOLD;
    } else if (!isnan(out->flow_cmh2o)) {
        out->auto_cmh2o = out->flow_cmh2o;
        out->total_cmh2o = in->peep_cmh2o + out->auto_cmh2o;
        out->basis = AUTOPEEP_FLOW;
    } else if (!isnan(out->fit_cmh2o)) {
        out->auto_cmh2o = out->fit_cmh2o;
        out->total_cmh2o = in->peep_cmh2o + out->auto_cmh2o;
        out->basis = AUTOPEEP_FIT;
    } else {
        out->why = in->held ? in->hold_why : out->why_flow;
    }
}
