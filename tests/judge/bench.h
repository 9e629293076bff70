/* A hand-made patient, simulated and judged in memory. */
#ifndef TIDEMARK_TESTS_JUDGE_BENCH_H
#define TIDEMARK_TESTS_JUDGE_BENCH_H

#include "fixtures/judge/truth.h"

struct bench {
    struct judge_case c;
    struct judge_run *r;
    struct judge_truth *t;
};

/* Simulates b->c; ends the test where that fails. */
void bench_run(struct bench *b);
void bench_end(struct bench *b);
/* Scored breaths with that label. */
size_t bench_count(const struct bench *b, enum pattern p, int label);
size_t bench_scored(const struct bench *b);

/* Within `by` of b; double, where cmocka's own compares floats. */
#define assert_near(a, b, by) bench_near((a), (b), (by), #a, __FILE__, __LINE__)
void bench_near(double a, double b, double by, const char *what, const char *file, int line);

#endif
