/* Stretches without flow, told from 50 ms means: where both valves may have been shut. A mean is without flow where
 *
 *     -zero - Cc max(dp/dt, 0) <= q <= zero + Cc max(-dp/dt, 0)
 *
 * zero = max(zero-flow level, 3 sd of the mean), Cc = compliance of the circuit, at most; q as it is or less the base flow (an
 * offset of the sensor stays when flow stops). A pull against closed tubing expands its gas towards the patient, a push
 * squeezes it back: hence the second terms, and their signs. An inflation goes the other way. That valves are shut does not follow from it: a machine that holds its pressure
 * while flow has run out looks alike. holds.h tells the two apart. Rule: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_SHUT_H
#define TIDEMARK_ANALYZE_SHUT_H

#include "analyze/breath/measure.h"
#include "analyze/manoeuvres/stretch.h"

#define SHUT_TICKS 512 /* 25 s */

struct shut_run {
    int64_t from_ns, to_ns;
    uint64_t from, to;           /* samples [from, to) */
    int64_t raised_ns;           /* start of the raised pressure (an inflation) that it began in; -1: at the lower level */
    int64_t lowered_ns;          /* end of the last raised pressure before it; -1: none since the run of samples began */
    double q_before_l_s;         /* mean flow 0.1 to 0.2 s before it, as it was */
    double p_before_cmh2o;       /* pressure there */
    double p_start_cmh2o;        /* 0.1 to 0.25 s after its start */
    double p_mean_cmh2o;
    double in_l, out_l;          /* volume at its start above the lowest, and under the highest, of the breath before it */
    double q_mean_l_s, base_l_s; /* over the run: flow, and the base flow that a machine would have gone on serving */
    double p_high_cmh2o;         /* highest 0.15 s mean, its first 0.2 s apart */
    double fall_cmh2o;           /* deepest fall of pressure from what it had been in the run, 0.15 s means, ends left out */
    double rise_cmh2o;           /* highest rise from the lowest before */
    int64_t moved_ns;            /* where pressure first left p_start by 0.5 (5 sd); -1: it did not */
    bool spoiled;                /* another event was going on */
};

struct shut {
    struct {
        float p, q;
    } tick[SHUT_TICKS];
    double zero_l_s, zero_sd; /* what counts as no flow, and the noise that it was made for */
    uint64_t n;          /* ticks seen; the newest at (n - 1) % SHUT_TICKS */
    uint64_t sample;     /* first sample of the tick before the newest */
    int64_t t_ns;        /* its time */
    bool open;           /* a run is under way */
    int misses;          /* ticks with flow since its last one without */
    uint64_t n_from;     /* its first tick */
    uint64_t n_last;     /* its last tick without flow, so far */
    uint64_t last_end;   /* sample after it */
    int64_t last_end_ns;
    double q_sum, base_sum;
    bool raised;
    int64_t raised_ns, lowered_ns;
    struct shut_run run;
};

void shut_init(struct shut *s);

struct shut_ctx {
    const struct ring *ring;
    const struct noise *noise;
    const struct base_flow *base;
    double flow_scale;
    double circuit_c_l_cmh2o; /* the most to be expected: adult 0.003, or 1.5 times what is stated */
};

/* Flow under it is none, as a mean over n samples. */
double shut_zero_l_s(const struct shut_ctx *x, uint64_t n);
/* sd of a 0.15 s mean of pressure. */
double shut_noise_cmh2o(const struct shut_ctx *x);
/* So far above PEEP pressure is that of an inflation. */
double shut_raised_cmh2o(const struct ordinary *o);

/* The tick t, of samples [from, to). True: a stretch of 0.3 s or more has ended, *out tells of it. `spoiled`: within another
 * event. */
bool shut_tick(struct shut *s, const struct shut_ctx *x, const struct tick *t, uint64_t from, uint64_t to,
               const struct ordinary *o, bool spoiled, struct shut_run *out);

/* The samples break off: what was under way is lost. */
void shut_cut(struct shut *s);


#endif
