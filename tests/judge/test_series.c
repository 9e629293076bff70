/* The series of patients: shares of strata, sizes, troubles; and that every pattern is there, in few patients. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "fixtures/judge/judge.h"
#include "tests/accuracy/patients.h"
#include "tests/judge/bench.h"

#define STEP 3 /* every third patient is simulated here: all would take minutes */

static void shares(void **state)
{
    (void)state;
    int clean = 0, heavy = 0, two = 0, infant = 0, child = 0, all = judge_patients();
    struct err e = {0};
    assert_int_equal(all, JUDGE_PATIENTS); /* the scorer counts on it */
    assert_int_equal(judge_quiets(), JUDGE_QUIETS);
    for (int n = 0; n < all; n++) {
        struct judge_patient p;
        assert_int_equal(judge_describe(n, &p, &e), TM_OK);
        clean += !strcmp(p.stratum, "clean");
        heavy += !strcmp(p.stratum, "heavy");
        infant += !strcmp(p.size, "infant");
        child += !strcmp(p.size, "child");
        two += p.n_troubles >= 2;
        assert_true(p.seconds >= 480.0 && p.seconds <= 720.0 && p.rate_hz >= 25.0 && p.rate_hz <= 1000.0);
        if (!strcmp(p.stratum, "clean"))
            assert_true(p.leak_share <= 0.0);
    }
    assert_true(all >= 200);
    assert_in_range(clean * 100 / all, 27, 33);
    assert_in_range(heavy * 100 / all, 22, 28);
    assert_in_range(infant * 100 / all, 10, 25);
    assert_in_range(child * 100 / all, 8, 20);
    assert_true(3 * two >= all);
    struct judge_patient p;
    assert_int_equal(judge_describe(all, &p, &e), TM_ERR_USAGE);
    assert_int_equal(judge_describe(-1, &p, &e), TM_ERR_USAGE);
}

struct tally {
    size_t scored, rows, is[PAT_N], is_not[PAT_N], patients, with[PAT_N];
};

static void physiological(const struct bench *b)
{
    size_t n = 0;
    for (size_t k = 0; k < b->t->rows; k++) {
        const struct truth_row *a = &b->t->row[k];
        assert_true(a->t0 <= a->t1 && a->t1 <= a->t2);
        if (k)
            assert_true(b->t->row[k - 1].t2 <= a->t0 + 1e-9);
        if (a->why != WHY_NONE)
            continue;
        n++;
        assert_true(a->pip < 80.0 && a->peep > -3.0 && a->peep < 45.0);
        assert_true(a->vti / b->c.kg < 45.0 && a->peak_in < 3.0 && a->peak_out < 4.0);
    }
    double rate = 60.0 * (double)b->t->rows / (b->c.seconds + b->c.warmup);
    if (rate < 4.0 || rate > 75.0)
        fail_msg("patient %d breathes %.1f a minute", b->c.number, rate);
    assert_true(n > 20);
}

static void every_pattern_is_there(void **state)
{
    (void)state;
    struct tally s = {0};
    for (int n = 0; n < judge_patients(); n += STEP) {
        struct bench b;
        case_patient(&b.c, n);
        bench_run(&b);
        physiological(&b);
        size_t scored = bench_scored(&b);
        s.scored += scored;
        s.rows += b.t->rows;
        s.patients++;
        for (int p = 0; p < PAT_N; p++) {
            size_t is = bench_count(&b, (enum pattern)p, IS);
            s.is[p] += is;
            s.is_not[p] += bench_count(&b, (enum pattern)p, IS_NOT);
            s.with[p] += is > 1 && 100 * is > scored;
        }
        bench_end(&b);
    }
    assert_true(10 * s.scored > 8 * s.rows);
    for (int p = 0; p < PAT_N; p++) {
        print_message("%-22s is %5zu, is not %5zu, over 1 %% in %zu of %zu patients\n", pattern_word((enum pattern)p), s.is[p],
                      s.is_not[p], s.with[p], s.patients);
        assert_true(s.is[p] >= 10);
        assert_true(s.is_not[p] >= 1000);
        assert_true(100 * s.is[p] < 15 * s.scored);
        assert_true(2 * s.with[p] <= s.patients);
    }
}

static void quiet_is_quiet(void **state)
{
    (void)state;
    struct bench b;
    case_quiet(&b.c, 0);
    bench_run(&b);
    assert_true(b.t->rows < 40 && b.t->events > 10);
    bench_end(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shares),
        cmocka_unit_test(every_pattern_is_there),
        cmocka_unit_test(quiet_is_quiet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
