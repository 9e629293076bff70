#include "tests/judge/bench.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

void bench_run(struct bench *b)
{
    struct err e = {0};
    b->r = NULL;
    b->t = NULL;
    case_sort(&b->c);
    assert_int_equal(judge_run_new(&b->r, &b->c, &e), TM_OK);
    assert_int_equal(judge_truth_new(&b->t, b->r, &e), TM_OK);
}

void bench_end(struct bench *b)
{
    judge_truth_free(b->t);
    judge_run_free(b->r);
}

size_t bench_count(const struct bench *b, enum pattern p, int label)
{
    size_t n = 0;
    for (size_t k = 0; k < b->t->rows; k++)
        n += b->t->row[k].why == WHY_NONE && b->t->row[k].label[p] == label;
    return n;
}

size_t bench_scored(const struct bench *b)
{
    size_t n = 0;
    for (size_t k = 0; k < b->t->rows; k++)
        n += b->t->row[k].why == WHY_NONE;
    return n;
}

void bench_near(double a, double b, double by, const char *what, const char *file, int line)
{
    if (!(fabs(a - b) <= by))
        print_error("%s:%d: %s is %g, not %g within %g\n", file, line, what, a, b, by);
    _assert_true(fabs(a - b) <= by, what, file, line);
}
