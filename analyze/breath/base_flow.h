/* Leak, offset or added gas as a flow that is not breath: what of the flow the segmentation looks away from.
 * Metrics are measured on raw flow; only decisions use flow less this base.
 *
 * Over each run of three breaths the net volume in is put down either to a leak, k sqrt(max(p, 0)) (orifice:
 * Bernoulli), or, if gas came out on balance, to a constant. The base is the median over the last 8 runs within
 * 90 s; runs whose net exceeds 60 % of what was inspired are left out (disconnection, suction); at most
 * 0.3 L/s (adult). A leak that is new shows sooner: flow stands at it before each breath (base_flow_stood). */
#ifndef TIDEMARK_ANALYZE_BASE_FLOW_H
#define TIDEMARK_ANALYZE_BASE_FLOW_H

#include "analyze/breath/extreme.h"

#include <math.h>
#include <stdint.h>

#define BASE_RUNS 8

struct base_flow {
    double k;          /* L/s per sqrt(cmH2O); 0: none */
    double constant;   /* L/s, negative: gas comes out on balance */
    double max_l_s;
    struct {
        double net_l, insp_l, sqrt_p_s, seconds;
        int64_t end_ns;
    } breath[3], run[BASE_RUNS];
    int n_breath, n_run; /* ever seen; the newest at (n - 1) % size */
};

void base_flow_init(struct base_flow *b, double flow_scale);
/* One complete breath: net and inspired volume (L), integral of sqrt(max(p, 0)), length. */
void base_flow_breath(struct base_flow *b, double net_l, double insp_l, double sqrt_p_s, double seconds,
                      int64_t end_ns);
/* Flow that stood inward at this pressure before a breath departed from it: that is what leaks now, whatever the runs
 * said before. */
void base_flow_stood(struct base_flow *b, double q_l_s, double p_cmh2o);
/* Nothing that looked like a breath for long: whatever breathed unseen, it went in and out, so the mean flow of that time, at
 * such pressure, is what leaks. A wrong base hides every breath that could mend it. */
void base_flow_renew(struct base_flow *b, double mean_l_s, double mean_sqrt_p);
/* A hole or an event: runs are not carried across it. */
void base_flow_break(struct base_flow *b);

static inline double base_flow_at(const struct base_flow *b, double p_cmh2o)
{
    if (b->k > 0)
        return p_cmh2o > 0 ? smaller(b->k * sqrt(p_cmh2o), b->max_l_s) : 0;
    return b->constant;
}

#endif
