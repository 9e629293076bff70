/* The last 30 s of samples, with running sums, so that any integral or mean over an interval costs two reads.
 *
 * Samples are named by their ordinal (0, 1, 2, ... since the ring was made); the newest is ring->end - 1, the
 * oldest kept is ring_first(). Only samples whose pressure and flow were both measured are stored.
 *
 * Integrals never cross a hole: the step over it adds nothing, and `hole_l` accumulates the volume it may
 * have hidden (the larger |flow| beside it times its length), `holes` their number. */
#ifndef TIDEMARK_ANALYZE_RING_H
#define TIDEMARK_ANALYZE_RING_H

#include "ingest/sample.h"

#include <math.h>

struct ring_slot {
    int64_t t_ns;
    double p;      /* cmH2O */
    double q;      /* L/s */
    double vol_l;  /* integral of q from the ring's start, L (trapezoid on the samples' own times) */
    double p_s;    /* integral of p, cmH2O s */
    double q_sum;  /* running sums of the sample values, for means by count */
    double p_sum;
    double hole_l; /* accumulated possible volume in short holes, L */
};

struct ring {
    struct ring_slot *slot;
    uint64_t mask;
    uint64_t end;   /* ordinal after the newest sample */
    uint64_t begin; /* first sample of the unbroken run that `end` belongs to */
    double rate_hz;
    int64_t gap_limit_ns;
};

/* Keeps at least seconds_kept of samples at rate_hz. No allocation afterwards. */
int ring_init(struct ring *r, double rate_hz, int64_t gap_limit_ns, double seconds_kept) MUST_USE;
void ring_free(struct ring *r);

/* Appends a sample that continues the run (a step over gap_limit_ns is entered as a short hole). */
void ring_push(struct ring *r, int64_t t_ns, double p, double q);

/* The same for up to n samples at once; stops before one that is not finite or follows over a hole, and takes none at the
 * start of a run. Returns how many it took. */
size_t ring_push_plain(struct ring *r, const int64_t *t_ns, const double *p, const double *q, size_t n);

/* What comes next begins a new run: nothing before it is joined to it. */
static inline void ring_break(struct ring *r)
{
    r->begin = r->end;
}

static inline const struct ring_slot *ring_at(const struct ring *r, uint64_t i)
{
    return &r->slot[i & r->mask];
}

static inline uint64_t ring_first(const struct ring *r)
{
    uint64_t kept = r->end > r->mask ? r->end - r->mask : 0;
    return kept > r->begin ? kept : r->begin;
}

/* Sample i is among the oldest eighth: what still needs it has to be done with it. (Samples may come faster than the
 * rate that the ring was made for.) */
static inline bool ring_leaving(const struct ring *r, uint64_t i)
{
    return r->end - i > r->mask - r->mask / 8;
}

/* Volume that flowed in between two samples, L. */
static inline double ring_vol_l(const struct ring *r, uint64_t from, uint64_t to)
{
    return ring_at(r, to)->vol_l - ring_at(r, from)->vol_l;
}

/* Mean over samples [from, to), to > from. */
static inline double ring_q_mean(const struct ring *r, uint64_t from, uint64_t to)
{
    const struct ring_slot *a = ring_at(r, from), *b = ring_at(r, to - 1);
    return (b->q_sum - a->q_sum + a->q) / (double)(int64_t)(to - from);
}

static inline double ring_p_mean(const struct ring *r, uint64_t from, uint64_t to)
{
    const struct ring_slot *a = ring_at(r, from), *b = ring_at(r, to - 1);
    return (b->p_sum - a->p_sum + a->p) / (double)(int64_t)(to - from);
}

/* Samples in a time, at least one. */
static inline uint64_t ring_count(const struct ring *r, double seconds)
{
    double n = seconds * r->rate_hz + 0.5;
    return n < 1 ? 1 : (uint64_t)n;
}

/* Last sample at or before t_ns within [from, to); `from` if all are later. Binary search. */
uint64_t ring_find(const struct ring *r, uint64_t from, uint64_t to, int64_t t_ns);

#endif
