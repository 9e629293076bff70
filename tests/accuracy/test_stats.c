/* The scorer's own arithmetic, before anybody believes its report. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/accuracy/holds.h"
#include "tests/accuracy/match.h"
#include "tests/accuracy/efforts_scored.h"
#include "tests/accuracy/stats.h"
#include "fixtures/table/table.h"

static void near_to(double got, double want, double within)
{
    if (!(fabs(got - want) <= within)) {
        fail_msg("%.17g is not %.17g", got, want);
    }
}

/* Inputs of the first four rows: Newcombe, Stat Med, 1998 (from memory); values recomputed by root-finding of the
 * score equation. */
static void wilson_intervals(void **state)
{
    (void)state;
    static const struct {
        size_t x, n;
        double low, high;
    } rows[] = {
        {81, 263, 0.2552885199, 0.3662095770},  {15, 148, 0.0623863995, 0.1604872417},
        {0, 20, 0, 0.1611251581},               {1, 29, 0.0061132143, 0.1717552188},
        {0, 1, 0, 0.7934506856},                {20, 20, 0.8388748419, 1},
        {29, 29, 0.8830302015, 1},              {10, 100, 0.0552291371, 0.1743656615},
        {1, 1, 0.2065493144, 1},                {500, 10000, 0.0458984827, 0.0544471158},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double low, high;
        wilson(rows[i].x, rows[i].n, &low, &high);
        near_to(low, rows[i].low, 6e-11);
        near_to(high, rows[i].high, 6e-11);
    }
    double low, high;
    wilson(0, 0, &low, &high);
    assert_true(isnan(low) && isnan(high));
}

static void lists(void **state)
{
    (void)state;
    struct numbers s = {0};
    assert_true(isnan(numbers_mean(&s)) && isnan(numbers_sd(&s)) && isnan(numbers_quantile(&s, 0.5)));
    for (int i = 1000; i >= 0; i--) {
        assert_int_equal(numbers_add(&s, i), 0);
    }
    assert_int_equal(numbers_add(&s, NAN), 0);
    assert_int_equal(s.n, 1001);
    near_to(numbers_mean(&s), 500, 1e-9);
    near_to(numbers_sd(&s), sqrt(1001.0 * 1002.0 / 12.0), 1e-9); /* closed form for 0..n-1: sqrt(n(n+1)/12) */
    near_to(numbers_quantile(&s, 0.5), 500, 0);
    near_to(numbers_quantile(&s, 0.95), 950, 1e-9);
    near_to(numbers_quantile(&s, 1), 1000, 0);
    near_to(numbers_worst(&s), 1000, 0);
    numbers_free(&s);
}

static void pairs_one_to_one(void **state)
{
    (void)state;
    const double truth[] = {1.0, 4.0, 7.0, 7.4, 10.0};
    const double found[] = {0.8, 1.05, 4.31, 7.25, 7.35, 9.9};
    size_t t[5], f[6];
    assert_int_equal(match_times(truth, 5, found, 6, 0.3, t, f), 0);
    assert_int_equal(t[0], 1); /* the nearer of two */
    assert_true(f[0] == MATCH_NONE);
    assert_true(t[1] == MATCH_NONE); /* 0.31 s away is missed and extra */
    assert_true(f[2] == MATCH_NONE);
    assert_int_equal(t[2], 3); /* 7.35 belongs to 7.4, so 7.25 is left for 7.0 */
    assert_int_equal(t[3], 4);
    assert_int_equal(t[4], 5);
    assert_int_equal(match_times(truth, 5, found, 0, 0.3, t, f), 0);
    assert_true(t[0] == MATCH_NONE);
}

static void reads_csv(void **state)
{
    (void)state;
    char path[] = "/tmp/tidemark-table-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    FILE *f = fdopen(fd, "wb");
    assert_non_null(f);
    assert_true(fputs("a,b,c\n1,\"x,\"\"y\"\"\",2.5\n3,,x\n4,5,", f) >= 0);
    assert_int_equal(fclose(f), 0);
    struct table t;
    assert_int_equal(table_read(&t, path), 0);
    assert_int_equal(t.rows, 3);
    assert_string_equal(table_text(&t, 0, table_column(&t, "b")), "x,\"y\"");
    near_to(table_number(&t, 0, table_column(&t, "c")), 2.5, 0);
    assert_true(isnan(table_number(&t, 1, table_column(&t, "b"))));
    assert_true(isnan(table_number(&t, 1, table_column(&t, "c"))));
    near_to(table_number(&t, 2, table_column(&t, "b")), 5, 0);
    assert_int_equal(table_column(&t, "d"), -1);
    table_free(&t);
    assert_int_equal(remove(path), 0);
}

/* By hand: 15.2 found for 15 is +0.2; 41 for 40 is 2.5 %; what is not given only counts. */
static void values_of_holds(void **state)
{
    (void)state;
    struct holds h = {0};
    struct event t = {.name = "insp_hold", .values = "hold_s=3;pplat_cmh2o=15.00;pplat_0_5_cmh2o=15.3;cstat_ml_cmh2o=40"};
    struct event f = {.name = "insp_hold", .values = "pplat_0_5_cmh2o=9;pplat_cmh2o=15.20;cstat_ml_cmh2o=41.0"};
    struct event none = {.name = "insp_hold", .values = "hold_s=3.0;why_empty=effort_suspected"};
    assert_float_equal(event_number(t.values, "pplat_cmh2o"), 15, 0);
    assert_true(isnan(event_number(t.values, "pplat")));
    assert_true(isnan(event_number(none.values, "why_empty")));
    assert_true(isnan(event_number("", "hold_s")));
    assert_int_equal(holds_compare(&h, &t, &f), 0);
    assert_int_equal(holds_compare(&h, &t, &none), 0);
    assert_int_equal(h.of[HOLD_PPLAT], 2);
    assert_int_equal(h.off[HOLD_PPLAT].n, 1);
    assert_float_equal(h.off[HOLD_PPLAT].v[0], 0.2, 1e-9);
    assert_float_equal(h.off[HOLD_CSTAT].v[0], 2.5, 1e-9);
    assert_int_equal(h.of[HOLD_TOTAL], 0);
    holds_free(&h);
}

/* Names are told from longer ones and from the codes before them. */
static void flags_of_rows(void **state)
{
    (void)state;
    struct pattern_count c = {0};
    assert_int_equal(pattern_said("a;flow_limitation", "", "flow_limitation"), SAID_POSSIBLE);
    assert_int_equal(pattern_said("flow_limitations", "", "flow_limitation"), SAID_NOTHING);
    assert_int_equal(pattern_said("", "few_breaths:b,flow_limitation;event:c", "flow_limitation"), SAID_UNJUDGED);
    assert_int_equal(pattern_said("", "x:my_flow_limitation", "flow_limitation"), SAID_NOTHING);
    pattern_count_add(&c, 1, SAID_POSSIBLE);
    pattern_count_add(&c, 1, SAID_UNJUDGED);
    pattern_count_add(&c, 1, SAID_NOTHING);
    pattern_count_add(&c, 0, SAID_DEFINITE);
    pattern_count_add(&c, 0, SAID_NOTHING);
    pattern_count_add(&c, -1, SAID_POSSIBLE);
    assert_int_equal(c.is, 3);
    assert_int_equal(c.is_flag, 1);
    assert_int_equal(c.is_unjudged, 1);
    assert_int_equal(c.isnt, 2);
    assert_int_equal(c.isnt_flag, 1);
}

/* Table of exact limits, Garwood, Biometrika, 1936 (also in any handbook): counts 0, 1, 10. */
static void poisson_limits(void **state)
{
    (void)state;
    static const struct { size_t x; double low, high; } rows[] = {{0, 0, 3.689}, {1, 0.0253, 5.572}, {10, 4.795, 18.39}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double low, high;
        poisson(rows[i].x, &low, &high);
        assert_true(fabs(low - rows[i].low) < 0.001 * rows[i].high);
        assert_true(fabs(high - rows[i].high) < 0.001 * rows[i].high);
    }
}

/* By start or by overlap, each found one once; the third true one has nothing left. */
static void efforts_one_to_one(void **state)
{
    (void)state;
    const struct effort_true t[] = {{1.0, 1.8, 5, true, true}, {4.0, 4.8, 5, true, true}, {4.2, 4.7, 5, false, true}, {9.0, 9.5, 5, true, true}};
    const struct effort_found f[] = {{1.5, 1.9, 5, 1, true, "fair"}, {4.1, 4.9, 5, 1, true, "fair"}, {9.4, 9.9, 5, 1, true, "fair"}};
    size_t partner[4];
    bool used[3] = {false};
    efforts_pair(t, 4, f, 3, partner, used);
    assert_int_equal(partner[0], 0); /* 0.5 s late, but 0.3 of its 0.4 s overlap */
    assert_int_equal(partner[1], 1);
    assert_true(partner[2] == MATCH_NONE);
    assert_true(partner[3] == MATCH_NONE); /* overlap 0.1 of 0.5 s */
    assert_false(used[2]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(wilson_intervals), cmocka_unit_test(lists),
                                       cmocka_unit_test(pairs_one_to_one), cmocka_unit_test(reads_csv), cmocka_unit_test(values_of_holds), cmocka_unit_test(flags_of_rows),
                                       cmocka_unit_test(poisson_limits), cmocka_unit_test(efforts_one_to_one)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
