/* The pressure at which nobody breathes: its level where for 10 s gas hardly moves, or flows steadily as through a leak,
 * and pressure stays within a band that the heart and water in the tubing fill. It stands in for the PEEP of ordinary breaths while there are none, so
 * that an opening of the circuit and suction are told in a patient who makes no breath. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_REST_H
#define TIDEMARK_ANALYZE_REST_H

#include "analyze/manoeuvres/stretch.h"

struct rest {
    int64_t known_ns;  /* when the level was last seen to stand; -1: never */
    double level_cmh2o, flow_l_s; /* pressure, and what flows beside the base flow */
    int ticks, seconds; /* of the second that is going on; resting ones in a row */
    double p_sum, q_sum, mean_cmh2o, mean_l_s; /* of the second; over those seconds */
};

void rest_init(struct rest *r);
/* `count_min_l`: volume that counts as a breath. `spoiled`: another event may be going on; what is known stays. */
void rest_tick(struct rest *r, const struct tick *t, double count_min_l, bool spoiled);
/* Nobody has breathed since `breath_ns` (-1: never) and the level is known: *o tells of rest instead of breaths, and the
 * mean's net flow is less the steady one. */
void rest_instead(const struct rest *r, int64_t breath_ns, double count_min_l, struct ordinary *o, struct tick *t);

#endif
