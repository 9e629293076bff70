/* Shared by check.c (counting) and check_report.c (judging); nobody else includes it. */
#ifndef TIDEMARK_SESSION_CHECK_INTERNAL_H
#define TIDEMARK_SESSION_CHECK_INTERNAL_H

#include "analyze/session/check.h"

#define CHECK_BINS  576
#define CHECK_RING  64
#define CHECK_FIRST 4096

struct channel_state {
    uint64_t n, missing;
    bool have; /* the sample before had a value, and no hole stands between */
    double last, min, max, step;
    uint64_t run; /* equal samples up to now */
    uint64_t at_min, at_max;
    int64_t since, stuck_ns, stuck_at;
    uint64_t bin[CHECK_BINS];
};

struct check {
    const struct recording_info *info;
    struct check_report r;
    struct channel_state ch[CH_N];
    int64_t first[CHECK_FIRST];
    size_t n_first;
    int64_t median_ns, min_ns, max_ns, hole_ns, longest_ns;
    uint64_t steps, odd_steps;
    double step_s; /* the last step, for volumes */
    size_t back;   /* samples in 50 ms */
    size_t ring_n;
    int64_t jumped_ns; /* the last jump that was counted: its samples are one */
    double ring_p[CHECK_RING], ring_q[CHECK_RING];
};

void check_settle_steps(struct check *c);
double check_bin_value(size_t bin);

#endif
