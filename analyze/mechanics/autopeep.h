/* Auto-PEEP and trapped gas at the end of one breath, and which way of telling it is believed.
 *
 *   flow   (Re + K2 q) q: what the flow that still runs out has to overcome, with the breath's own fit
 *          (q is brought to the end from the middle of its 50 ms, and over its lag, by the time constant: 73 ms of 0.5 s
 *          would be a seventh)
 *   fit    P0 of the next breath's fit less PEEP: alveolar less airway pressure at its start
 *   hold   total PEEP of an expiratory hold less airway PEEP
 *   trapped volume  1000 tau q, with tau = (Re + Rv)/E from expiration's line of volume on flow (else (Re + K2 q)/E)
 *
 * Believed: hold, else flow, else fit; never a mean. Each is a lower bound in unequal lungs: only the part that still flows
 * is seen. Equation of motion; the rules of validity are common practice, no source. */
#ifndef TIDEMARK_ANALYZE_AUTOPEEP_H
#define TIDEMARK_ANALYZE_AUTOPEEP_H

#include "analyze/breath/row.h"

/* Of a fit, what is needed here; believable. */
struct autopeep_fit {
    bool there;
    enum reason why; /* where it is not */
    double re_cmh2o_s_l, k2, e_cmh2o_l;
    double p0_cmh2o;
    double tau_s; /* NAN: expiration too short for it */
    double lag_s; /* flow's behind pressure */
};

struct autopeep_in {
    enum reason why;       /* nothing of this breath holds: gap, leak_high, event, ...; WHY_NONE */
    bool effort;           /* muscles at work at its end, or in it */
    double peep_cmh2o;     /* airway, at its end */
    double q_l_s;          /* flow out at its end, mean of 50 ms, less leak and offset; NAN: unknown */
    double q_least_l_s;    /* under it flow is none: zero-flow level, 3 sd */
    bool dead_band;        /* flow reads nothing but 0 there */
    struct autopeep_fit own, next;
    bool next_follows;     /* the next breath starts where this one ends, and no effort before it */
    bool held;             /* an expiratory hold ends it */
    enum reason hold_why;  /* ... that could not be read */
    double hold_total_cmh2o, hold_peep_cmh2o;
};

struct autopeep_out {
    double total_cmh2o, auto_cmh2o;
    enum autopeep_basis basis;
    enum reason why, why_flow, why_fit, why_trapped, why_tau; /* of what is NAN */
    double flow_cmh2o, fit_cmh2o, trapped_ml, tau_s;
};

void autopeep_of(const struct autopeep_in *in, struct autopeep_out *out);

#endif
