/* Breaths and flags made by hand, whose asynchrony index and kin are known. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "analyze/session/burden.h"
#include "analyze/session/clusters.h"
#include "analyze/session/interval.h"
#include "tests/tables/burden_kit.h"

static void near(double got, double want)
{
    if (!(fabs(got - want) < 1e-9))
        fail_msg("%.12g, not %.12g", got, want);
}

/* Thille, Intensive Care Med 2006;32:1515: index = asynchrony events / (machine cycles + ineffective efforts), in %: a patient with 18
 * machine cycles a minute and 2 ineffective efforts beside them has 2 / 20 = 10 % (the definition's own arithmetic; numbers ours). */
static void test_definition(void **state)
{
    (void)state;
    struct burden_count c = {0};
    for (uint64_t i = 0; i < 180; i++) {
        const struct breath_row r = made_breath(i + 1, 3.25 * (double)i, 3.25);
        burden_row(&c, &r);
        for (int k = 0; k < 2 && i % 18 == 0; k++) { /* both in one breath */
            const struct flag f = made_flag(&r, PATTERN_ineffective_effort, CONF_DEFINITE);
            burden_flag(&c, &f);
        }
    }
    near(burden_index_pct(&c, BURDEN_core, DEFINITE), 10);
    near(burden_index_pct(&c, BURDEN_core, WITH_POSSIBLE), 10);
    near(burden_ineffective_index_pct(&c, DEFINITE), 10); /* de Wit 2009: 20 / (180 + 20) */
    near(burden_events_per_h(&c, BURDEN_PATTERN + PATTERN_ineffective_effort, DEFINITE), 20 * 3600 / (180 * 3.25));
    assert_int_equal(BURDEN_LINE_PCT, 10);
    assert_int_equal(burden_names(BURDEN_core), 1u << PATTERN_ineffective_effort | 1u << PATTERN_double_trigger | 1u << PATTERN_auto_trigger);
    assert_int_equal(burden_names(BURDEN_all), (1u << PATTERN_N) - 1);
}

/* 100 breaths, of which 10 unassisted; of the 90 machine breaths 30 can't be judged for auto-trigger. In the 60: 6 ineffective (2 of them
 * definite), 3 double triggers, 1 reverse trigger; in those not judged 5 double triggers that don't count for the core index. */
static void test_judged(void **state)
{
    (void)state;
    struct burden_count c = {0};
    for (uint64_t i = 0; i < 100; i++) {
        struct breath_row r = made_breath(i + 1, 4.0 * (double)i, 4);
        r.kind = i >= 90 ? KIND_UNASSISTED : KIND_MANDATORY;
        r.initiation = INIT_MACHINE;
        r.unjudged[PATTERN_auto_trigger] = i >= 60 ? WHY_no_mechanics : WHY_NONE;
        burden_row(&c, &r);
        struct flag f = made_flag(&r, i < 6 ? PATTERN_ineffective_effort : i == 9 ? PATTERN_reverse_trigger : PATTERN_double_trigger,
                                  i < 2 ? CONF_DEFINITE : CONF_POSSIBLE);
        if (i < 10 || (i >= 60 && i < 65) || i >= 95)
            burden_flag(&c, &f);
    }
    assert_int_equal(c.machine, 90);
    assert_int_equal(c.set[BURDEN_core].judged, 60);
    near(burden_index_pct(&c, BURDEN_core, DEFINITE), 100.0 * 2 / 62);
    near(burden_index_pct(&c, BURDEN_core, WITH_POSSIBLE), 100.0 * 9 / 66);
    near(burden_index_pct(&c, BURDEN_all, WITH_POSSIBLE), 100.0 * 10 / 66);
    near(burden_index_pct(&c, BURDEN_PATTERN + PATTERN_double_trigger, WITH_POSSIBLE), 100.0 * 8 / 96);
    assert_true(isnan(burden_ineffective_index_pct(&c, WITH_POSSIBLE))); /* nobody triggers */
}

/* Under half judged: no index; a half is enough. */
static void test_coverage(void **state)
{
    (void)state;
    for (int judged = 4; judged <= 5; judged++) {
        struct burden_count c = {0};
        for (int i = 0; i < 10; i++) {
            struct breath_row r = made_breath((uint64_t)i + 1, 3.0 * i, 3);
            r.unjudged[PATTERN_ineffective_effort] = i >= judged ? WHY_leak_high : WHY_NONE;
            burden_row(&c, &r);
        }
        assert_int_equal(burden_covered(&c, BURDEN_core), judged == 5);
        assert_int_equal(isnan(burden_index_pct(&c, BURDEN_core, DEFINITE)), judged == 4);
        assert_int_equal(isnan(burden_hour(&c, BURDEN_COLUMN_ai_core_pct)), judged == 4);
        assert_true(burden_hour(&c, BURDEN_COLUMN_machine_breaths) == 10);
    }
    const struct burden_count none = {0};
    assert_true(isnan(burden_index_pct(&none, BURDEN_core, DEFINITE)) && isnan(burden_time_pct(&none)));
}

/* An hour of 3 s breaths: 4 stacked ones, 700 mL each, one without a volume; delays of 0.1 s in 600 breaths, an early
 * termination by 0.3 s, a late one by 0.5 s, and efforts of 0.6 s: 60 + 0.8 + 0.6 s of 3600. */
static void test_stacked_and_time(void **state)
{
    (void)state;
    struct burden_count c = {0};
    for (uint64_t i = 0; i < 1200; i++) {
        struct breath_row r = made_breath(i + 1, 3.0 * (double)i, 3);
        if (i < 600)
            r.v[COL_trigger_delay_s] = 0.1;
        burden_row(&c, &r);
        struct flag f = made_flag(&r, i < 5 ? PATTERN_double_trigger : i == 5 ? PATTERN_early_cycling : i == 6 ? PATTERN_late_cycling
                                                                                               : PATTERN_ineffective_effort, CONF_POSSIBLE);
        if (i < 4)
            evidence_number(&f.what, "vstack_ml", 700, 0);
        if (i == 5 || i == 6)
            evidence_number(&f.what, "err_s", i == 5 ? 0.3 : 0.5, 2);
        if (i == 7)
            evidence_number(&f.what, "dur_s", 0.6, 2);
        if (i < 8)
            burden_flag(&c, &f);
    }
    near(burden_stacked_ml_h(&c, WITH_POSSIBLE), 2800);
    near(burden_stacked_ml_h(&c, DEFINITE), 0);
    assert_int_equal(c.stacked[WITH_POSSIBLE], 5);
    assert_int_equal(c.stacked_unread[WITH_POSSIBLE], 1);
    near(burden_time_pct(&c), 100 * (60 + 0.8 + 0.6) / 3600);
}

/* Vaporidi, Intensive Care Med 2017: 3 minutes with more than 30. One every 6 s: a window holds 30, none; every 5.9 s: 31. */
static void test_cluster_edge(void **state)
{
    (void)state;
    static struct clusters c[2];
    for (int i = 0; i < 100; i++) {
        clusters_add(&c[0], i * INT64_C(6000000000));
        clusters_add(&c[1], i * INT64_C(5900000000));
    }
    assert_int_equal(c[0].n, 0);
    assert_int_equal(c[1].n, 1);
    assert_int_equal(c[1].kept[0].start_ns, 0);
    assert_int_equal(c[1].kept[0].end_ns, 99 * INT64_C(5900000000));
    assert_int_equal(c[1].kept[0].n, 100);
    assert_int_equal(c[1].kept[0].peak, 31);
}

/* Two bursts of 40, a second apart each, are two clusters a quiet while apart, and one where windows touch. */
static void test_clusters_apart(void **state)
{
    (void)state;
    for (int apart = 0; apart < 2; apart++) {
        static struct clusters c;
        memset(&c, 0, sizeof c);
        for (int i = 0; i < 80; i++)
            clusters_add(&c, (i < 40 ? i : i + (apart ? 200 : 100)) * NS_PER_S);
        assert_int_equal(c.n, apart ? 2 : 1);
        assert_int_equal(c.kept[0].n, apart ? 40 : 80);
        assert_int_equal(clusters_total_ns(&c) / NS_PER_S, apart ? 39 + 39 : 179);
        assert_int_equal(c.kept[0].peak, apart ? 40 : 80);
    }
}

/* Every block alike: the index itself. One burst in 40 blocks: the interval reaches from near none to well over the mean. The same each
 * time, also where blocks had to be joined (11 days). */
static void test_interval(void **state)
{
    (void)state;
    for (int burst = 0; burst < 2; burst++) {
        static struct interval v;
        memset(&v, 0, sizeof v);
        struct burden_count c = {0};
        for (uint64_t i = 0; i < 40 * 60; i++) {
            const struct breath_row r = made_breath(i + 1, 3.0 * (double)i, 3);
            const struct flag f = made_flag(&r, PATTERN_double_trigger, CONF_POSSIBLE);
            burden_row(&c, &r);
            interval_row(&v, &c, BURDEN_core, &r);
            if (burst ? i / 60 == 7 : i % 60 == 7)
                interval_flag(&v, BURDEN_core, &f);
        }
        double low, high;
        assert_true(interval_pct(&v, WITH_POSSIBLE, &low, &high));
        if (burst) /* 60 of 2400: 2.5 %. The block is drawn 0 to 3 times in nearly all of 40 draws (binomial: P(0) 0.363, P(over 3) 0.018) */
            assert_true(low == 0 && fabs(high - 100.0 * 3 * 60 / 2400) < 1e-9);
        else
            assert_true(fabs(low - 100.0 / 60) < 1e-9 && fabs(high - 100.0 / 60) < 1e-9);
        assert_true(interval_pct(&v, DEFINITE, &low, &high) && low == 0 && high == 0);
    }
    static struct interval v;
    struct burden_count c = {0};
    double low, high;
    for (uint64_t i = 0; i < 19; i++) {
        const struct breath_row r = made_breath(i + 1, 50000.0 * (double)i, 3);
        burden_row(&c, &r);
        interval_row(&v, &c, BURDEN_core, &r);
    }
    assert_int_equal(v.shift, 1);
    assert_false(interval_pct(&v, DEFINITE, &low, &high));
    assert_true(isnan(low) && isnan(high));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_definition),   cmocka_unit_test(test_judged),         cmocka_unit_test(test_coverage),
        cmocka_unit_test(test_stacked_and_time), cmocka_unit_test(test_cluster_edge), cmocka_unit_test(test_clusters_apart),
        cmocka_unit_test(test_interval),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
