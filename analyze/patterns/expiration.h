/* What one expiration's flow and volume tell, read once while its samples are there; the patterns judge by it later.
 *
 * Expired flow q and volume v are positive here, less leak. Of the lung's elastance E alveolar pressure falls by E dv: over
 * the last part of expiration alveolar less airway pressure changes with flow by
 *     R = d(-E v - p)/dq        cmH2O s/L: the resistance that flow meets there, limited or not,
 * and what is left of it at the end is R q. The tail is the line of q on v over 30 to 90 % of the expired volume:
 * q = q0 - v/tau. Peak flow over q0 and the fall of flow within 0.15 s of its peak tell a collapse's spike.
 * Equation of motion; the line and the spike: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_EXPIRATION_H
#define TIDEMARK_ANALYZE_EXPIRATION_H

#include "analyze/breath/ring.h"
#include "analyze/breath/row.h"
#include "analyze/patterns/outflow.h"

struct expiration {
    enum reason why;    /* WHY_NONE: it was read */
    int64_t end_ns;     /* until here: an effort's start, or the next inspiration's */
    bool cut;           /* an effort starts there */
    double effort_cmh2o; /* that effort's size; NAN: it only showed as a departure */
    bool disturbed;     /* muscles were at work within it or over its start: no tail */
    bool braked;        /* an effort that ended before had its peak within it */
    double te_s, vte_l; /* from its start to end_ns */
    double leak_l_s;    /* that was taken as there */
    double q_end_l_s;   /* flow out over the last 50 ms, less leak */
    double r_end_cmh2o_s_l, r_end_sd; /* R above; NAN: too short or too even to tell */
    enum reason why_tail; /* WHY_NONE: the four below hold */
    double tau_s, q0_l_s, peak_ratio, drop;
    double e_cmh2o_l, e_sd_ln; /* elastance it was read with; NAN: none known */
    bool e_measured;           /* ... from fits or holds, else from the valves' steps or assumed */
    double re_cmh2o_s_l, k2;   /* tracked, for a flow where R can't be told; NAN */
    double ri_cmh2o_s_l;       /* of inspiration: fits', else the valve's step at its start; NAN */
    struct outflow out;        /* of a machine's breath */
};

struct expiration_in {
    int64_t t1_ns, end_ns;
    uint64_t i1, end;          /* samples at or just before these */
    double leak_l_s;           /* inward at the end: what flow out is short of */
    double q_sd_l_s, p_sd_cmh2o; /* noise of a sample */
    double least_l;            /* volume under which it is no expiration */
    bool machine;              /* it made the inspiration before */
    double lag_s;              /* of flow behind pressure */
};

/* Fills all but cut, disturbed and the mechanics; e_cmh2o_l, re and k2 of *out are read. */
void expiration_read(const struct ring *r, const struct expiration_in *in, struct expiration *out);

#endif
