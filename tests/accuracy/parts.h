/* Parts of the records, by stratum, rate, control and leak; and the bars that the judged ones have to hold. */
#ifndef TIDEMARK_TESTS_ACCURACY_PARTS_H
#define TIDEMARK_TESTS_ACCURACY_PARTS_H

#include "tests/accuracy/score.h"

struct part {
    const char *name;
    part_fn *fn;
    long argument;
};

size_t parts_count(void);
const struct part *parts_get(size_t i);

/* Records of the judged patients. */
bool part_judged(const struct record *rec, const struct patient *p, long unused);
bool part_patient(const struct record *rec, const struct patient *p, long number);

struct bar {
    const char *what;
    double measured, limit; /* measured NAN: nothing to judge, which is a miss */
    bool at_least;          /* else at most */
    int decimals;
    bool held;
};
#define BARS_MAX 32

/* Fills bars (BARS_MAX of them at most) and returns how many; 0 out of memory. */
size_t bars_judge(struct bar *bars, const struct records *r, const struct patient *patients);

#endif
