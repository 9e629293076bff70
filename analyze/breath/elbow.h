/* The machine's acts. A machine that begins to deliver moves pressure and flow the same way (up), and both down
 * when it opens the expiratory side; the patient's acts move them in opposite ways. So a joint step within
 * 60 ms is told from efforts, coughs, the heart and condensate, which move one channel or both oppositely.
 * Thresholds: common practice, no source, from a numerical trial on simulated recordings. */
#ifndef TIDEMARK_ANALYZE_ELBOW_H
#define TIDEMARK_ANALYZE_ELBOW_H

#include "analyze/breath/base_flow.h"
#include "analyze/breath/noise.h"
#include "analyze/breath/ring.h"
#include "analyze/breath/scale.h"

struct elbow_ctx {
    const struct ring *ring;
    const struct noise *noise;
    const struct base_flow *base;
    struct breath_scale scale;
    uint64_t span, mean, half; /* samples in 60, 30 and 15 ms */
    /* Least joint change of 30 ms means to look closer, refreshed with the noise. */
    double dp_min, dq_min;
    /* Decisions at n look at samples up to n + ahead only, and never beyond `end`. */
    uint64_t ahead;
};

void elbow_init(struct elbow_ctx *x, const struct ring *r, const struct noise *z, const struct base_flow *b,
                struct breath_scale scale);
/* Takes the noise's current figures. */
void elbow_refresh(struct elbow_ctx *x);

/* A cheaper look yet: does flow itself move at all between sample n and n + span? What noise can hide of a joint step
 * is well under six tenths of it. */
static inline bool elbow_moves(const struct elbow_ctx *x, uint64_t n)
{
    return fabs(ring_at(x->ring, n + x->span)->q - ring_at(x->ring, n)->q) >= 0.4 * x->dq_min;
}

/* A cheap look: may a joint rise (fall) begin about sample n? Needs n + span + mean < ring->end. */
static inline bool elbow_maybe(const struct elbow_ctx *x, uint64_t n, double *dp, double *dq)
{
    const struct ring *r = x->ring;
    uint64_t a1 = n, a0 = n - x->mean, b1 = n + x->span + x->half, b0 = b1 - x->mean;
    const struct ring_slot *sa1 = ring_at(r, a1), *sb1 = ring_at(r, b1), *sa0 = ring_at(r, a0), *sb0 = ring_at(r, b0);
    double inv = 1.0 / (double)x->mean;
    *dq = ((sb1->q_sum - sb0->q_sum) - (sa1->q_sum - sa0->q_sum)) * inv;
    *dp = ((sb1->p_sum - sb0->p_sum) - (sa1->p_sum - sa0->p_sum)) * inv;
    return (*dp >= x->dp_min && *dq >= x->dq_min) || (*dp <= -x->dp_min && *dq <= -x->dq_min);
}

struct elbow {
    uint64_t at;        /* last sample before the step */
    int64_t t_ns;       /* the act's time, located within the step */
    int64_t steady_ns;  /* rises: the same, a little late, with less scatter */
    double p_foot, q_foot; /* before it */
    double p_step, q_step; /* extreme reached within 0.15 s, less the foot */
    bool outward_after; /* falls: flow is outward within 0.15 s */
};

/* Locates the joint rise about n and confirms that gas is delivered: 20 mL within 0.35 s, pressure 1.2 above
 * the foot, and 1.2 above peep_cmh2o (NAN: not known) or a flow step of 0.2. */
bool elbow_rise(const struct elbow_ctx *x, uint64_t n, uint64_t end, double peep_cmh2o, struct elbow *out);

/* Locates the joint fall about n. True if it is the start of expiration: within 0.15 s flow is outward or
 * pressure within 1.5 of PEEP; false: the start of a pause, or nothing. */
bool elbow_fall(const struct elbow_ctx *x, uint64_t n, uint64_t end, double peep_cmh2o, struct elbow *out);

#endif
