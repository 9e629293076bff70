/* What a hold shows: plateau and its kin after an inspiration, total PEEP after an expiration.
 *
 * Reading rule: mean of the 0.25 s before closure + 2 s, or before release if that is sooner (0.15 s are left to it: the
 * valves open within a 50 ms mean); at the end of expiration also before the first effort, and at least 1 s after closure.
 * Valid where pressure is at rest: slope over the last second (or what there is) within -0.8 and +0.3 cmH2O/s (plateau; total PEEP still climbs
 * as slow units empty: -0.5 to +0.8), sd about it under 0.3 (or twice the noise), no rise or pull over 1. An invalid hold
 * keeps its reason, and no value. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_HOLD_READING_H
#define TIDEMARK_ANALYZE_HOLD_READING_H

#include "analyze/manoeuvres/shut.h"
#include "analyze/mechanics/drive.h"

struct hold_reading {
    bool inspired;
    int64_t start_ns, end_ns;
    enum reason why;              /* WHY_NONE: the values hold; hold_short, hold_not_flat, leak_high, effort_suspected */
    bool late;                    /* the plateau was read from 1.5 s on: basis hold, else pause */
    double pip_cmh2o, p1_cmh2o;   /* peak; pressure just after closure */
    double pplat_cmh2o, pplat_0_5_cmh2o;
    double volume_l;              /* the ring's volume 0.25 s after closure: the tubing's gas has gone on into the lung */
    double r_init_cmh2o_s_l, r_total_cmh2o_s_l; /* NAN: flow was not constant */
    double peep_cmh2o, total_peep_cmh2o;        /* airway PEEP just before closure */
    struct drive_p01 p01;         /* of the first effort in an expiratory hold */
};

/* Reads a stretch that was shut from start_ns on; its samples are still kept. */
void hold_read(const struct shut_ctx *x, const struct shut_run *r, int64_t start_ns, bool inspired,
               struct hold_reading *out);

/* As an event, without what needs the breath before it (compliance). */
void hold_event(const struct hold_reading *h, enum confidence sure, struct event *out);

/* Is pressure at rest over samples [from, to)? slope cmH2O/s and sd of 50 ms means about it. Fewer than 4 means: false. */
bool hold_slope(const struct ring *r, uint64_t from, uint64_t to, double *slope, double *sd);

#endif
