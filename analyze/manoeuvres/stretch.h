/* What the recognisers of stretches (disconnection, suction, sustained inflation) share: 50 ms means of the
 * two channels, and what the patient's ordinary breaths were like just before. */
#ifndef TIDEMARK_ANALYZE_STRETCH_H
#define TIDEMARK_ANALYZE_STRETCH_H

#include "analyze/breath/row.h"

#define TICK_S 0.05
#define CATHETER_L_S 2.0 /* more than any draws: an open end, or a bag that is torn. Common practice, no source */

struct tick {
    int64_t t_ns; /* start of the mean */
    double p;     /* cmH2O */
    double q_net; /* L/s, less the base flow */
    double q;     /* L/s, as it is */
};

/* Medians over the last 10 ordinary breaths (complete, no gap, in no event); NAN until there are 3. */
struct ordinary {
    double peep_cmh2o, pip_cmh2o, te_s, period_s;
    double period_spread; /* median |period - median| / median */
    double machine_share; /* of those breaths */
    double vt_l;          /* expired */
    int n;
};

#endif
