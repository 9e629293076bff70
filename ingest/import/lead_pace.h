/* The rate of a recording, from the stamps of its first rows. */
#ifndef TIDEMARK_INGEST_IMPORT_LEAD_PACE_H
#define TIDEMARK_INGEST_IMPORT_LEAD_PACE_H

#include "ingest/sample.h"

struct pace {
    int steps;          /* that rise */
    int repeats;        /* rows whose stamp is the one before */
    int64_t min_ns, median_ns, max_ns;
    bool regular;       /* every step is nominal within what the stamps' rounding explains */
    int64_t rate_num, rate_den; /* Hz */
    int64_t gap_limit_ns;
};

/* stamp_ns[0..n): in order, up to the first fall. Steps over 2.5 medians are holes and say nothing of the rate. */
void pace_find(const int64_t *stamp_ns, int n, struct pace *out);

/* The gap rule: regular sources 1.5 nominal steps; others max(2.5 median steps, 20 ms). */
int64_t pace_gap_limit_ns(bool regular, int64_t median_ns);

#endif
