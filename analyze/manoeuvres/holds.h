/* Inspiratory and expiratory holds within one breath: when they were. Their values (plateau, total PEEP) are
 * not read here. A stretch is occluded where |flow| <= zero flow + C_circuit |dP/dt|: a pull against closed
 * valves moves the tubing's gas. Rules: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_HOLDS_H
#define TIDEMARK_ANALYZE_HOLDS_H

#include "analyze/breath/measure.h"
#include "analyze/manoeuvres/stretch.h"

struct holds_ctx {
    const struct ring *ring;
    const struct noise *noise;
    const struct base_flow *base;
    double flow_scale;
    double circuit_c_l_cmh2o; /* 0.002 unless stated */
};

/* Time without flow at the end of inspiration, s. */
double holds_pause_s(const struct holds_ctx *x, const struct seg_breath *b);

/* An inspiratory hold: occluded for 0.7 s and 1.6 times the usual pause, pressure 3 above PEEP. */
bool holds_inspiratory(const struct holds_ctx *x, const struct seg_breath *b, const struct ordinary *o,
                       double pause_s, struct event *out);

/* An expiratory hold at the end of a complete breath: occluded for 0.8 s, expiration 0.5 s longer than usual,
 * and pressure rises by 0.5, or an effort pulls it down by 1.5, or the machine's rhythm was held up. */
bool holds_expiratory(const struct holds_ctx *x, const struct seg_breath *b, const struct ordinary *o,
                      struct event *out);

#endif
