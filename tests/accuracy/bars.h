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
#define BARS_MAX 64

/* Fills bars (BARS_MAX of them at most) and returns how many; 0 out of memory. */
size_t bars_judge(struct bar *bars, const struct records *r, const struct patient *patients);

#endif
