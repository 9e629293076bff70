/* What has to hold: each bar, what was measured, and how many stand behind it. */
#ifndef TIDEMARK_TESTS_ACCURACY_BARS_H
#define TIDEMARK_TESTS_ACCURACY_BARS_H

#include "tests/accuracy/score.h"

struct bar {
    char what[96];
    double measured, limit; /* measured NAN: nothing to judge, which is a miss */
    double low, high;       /* interval of a share; NAN: none */
    bool at_least;          /* else at most */
    int decimals;
    bool held;
};
#define BARS_MAX 192

/* Fills bars (BARS_MAX of them at most) and returns how many; 0 out of memory. */
size_t bars_judge(struct bar *bars, const struct records *r, const struct patient *patients);

/* Trigger delay by stratum, on stdout: error (median, limits), share given. No bar is set for it. 0, or -1 out of memory. */
int drive_print(const struct records *r, const struct patient *patients);

/* Asynchrony indices by stratum, on stdout: how many recordings have one, how many are right, by how much they are off. 0, or -1. */
int burden_print(const struct records *r, const struct patient *patients);

/* What no change may break, looser than the bars: of a few patients, pooled, sensitivity and positive predictive value of
 * 98 %, VTi within 10 % in 95 % of breaths, kind right in 70 %. Returns how many are missed, each told on stdout; -1 out of
 * memory. */
int guard_judge(const struct records *r, const struct patient *patients);

#endif
