/* The rate of a recording, from the stamps of its first rows.
 *
 * A source is regular if at least 98 % of its steps are whole multiples of one nominal step, each within what the
 * stamps' own rounding explains (one unit of the last decimal; 2 ns more for stamps that are finer than that). Where
 * the rounding is as coarse as half a step, nothing is explained by it: the steps must then be multiples exactly.
 * The nominal rate is the simplest fraction (denominator up to 60) that the span of the stamps allows. Stamps are
 * never moved onto that rate: every sample keeps its own time, and the rate decides about holes alone. */
#ifndef TIDEMARK_INGEST_IMPORT_PACE_H
#define TIDEMARK_INGEST_IMPORT_PACE_H

#include "ingest/sample.h"

struct pace {
    int steps;   /* that rise */
    int repeats; /* rows whose stamp is the one before */
    int64_t min_ns, median_ns, max_ns;
    bool regular;
    int64_t rate_num, rate_den; /* Hz; of an irregular source the mean of its steps that are no holes, den 1000 */
    int64_t gap_limit_ns;
};

/* stamp_ns[0..n), rising but for repeats; resolution_ns: one unit of the last decimal that any of them shows. */
void pace_find(const int64_t *stamp_ns, int n, int64_t resolution_ns, struct pace *out);

/* A rate in Hz as a fraction: the simplest within 1e-7 of it, else in millionths. */
void pace_fraction(double hz, int64_t *num, int64_t *den);

/* Rows at an exact rate: row k is at k/rate, rounded to the nanosecond, without drift and without overflow. */
struct grid {
    int64_t t_ns;       /* of the next row */
    int64_t step_ns;    /* whole part of the step */
    int64_t rest, sum, num;
};

void grid_start(struct grid *g, int64_t num, int64_t den);

static inline int64_t grid_take(struct grid *g)
{
    int64_t t = g->t_ns;
    g->t_ns += g->step_ns;
    g->sum += g->rest;
    if (g->sum >= g->num) {
        g->sum -= g->num;
        g->t_ns++;
    }
    return t;
}

#endif
