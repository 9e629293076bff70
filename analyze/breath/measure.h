/* The figures of one breath, from its samples: times, volumes, pressures, flows. Volumes are raw: signed
 * integrals as measured, never drift-corrected. */
#ifndef TIDEMARK_ANALYZE_MEASURE_H
#define TIDEMARK_ANALYZE_MEASURE_H

#include "analyze/breath/seg.h"

#define PROFILE 8

/* What later stages need beside the row. */
struct breath_more {
    int64_t steady_ns;            /* as in seg.h */
    double vti_l, vte_l, net_l;   /* net: since the breath before ended, to t2 */
    double q_before_l_s;          /* net flow over the 30 ms before t0 */
    double p_before_cmh2o;        /* pressure there, less the line before it */
    bool departure;               /* an effort was seen before t2 */
    int64_t departure_ns;         /* ... where it starts */
    bool departure_before;        /* ... before t0 (the last breath's) */
    double control_score;         /* over 0: flow was controlled, pressure followed; NAN: can't be told */
    double p_rise_cmh2o;          /* mean pressure over the middle of inspiration, above the foot */
    double end_share, end_share_sd; /* flow at t1 as a share of its peak, and how far noise and the sampling may move it;
                                   * NAN: can't be told */
    double end_slope;             /* of flow before t1, in peaks a second */
    double ends_by_time;          /* over 0: ended by time rather than by flow; set by classify.h, NAN before */
    /* Net flow and pressure above PEEP at fixed times after t0 (30 ms means), as far as inspiration goes: what repeats
     * from breath to breath tells what is controlled. */
    int n_profile;
    float q_at[PROFILE], p_at[PROFILE];
    bool machine, fall, drawn;
};

struct measure_ctx {
    const struct ring *ring;
    const struct noise *noise;
    const struct seg *seg;
    double heart_resid_l_s; /* A_h: heart's amplitude about a parabola late in expiration */
    double lag_s;           /* flow's lag behind pressure, which tells t0 and t1; 0: not known */
    bool timing_only;       /* flow's scale is unknown: nothing that takes it for L/s */
};

/* Fills what follows from this breath alone; why[] for what can't be had. `end`: ordinal after the last sample
 * that may be used. */
void measure_breath(const struct measure_ctx *x, const struct seg_breath *b, uint64_t end,
                    struct breath_row *row, struct breath_more *more);

/* Sets a cell empty with its reason. */
static inline void row_empty(struct breath_row *row, enum col c, enum reason why)
{
    row->v[c] = (double)NAN;
    row->why[c] = (uint8_t)why;
}
static inline void row_set(struct breath_row *row, enum col c, double v)
{
    row->v[c] = v;
    row->why[c] = WHY_NONE;
}
static inline void row_quality(struct breath_row *row, enum reason code)
{
    row->quality |= UINT64_C(1) << code;
}

#endif
