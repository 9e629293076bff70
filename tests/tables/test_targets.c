/* Breaths made by hand, whose counts beyond each threshold are known; thresholds beside their papers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/session/hours.h"
#include "analyze/session/targets.h"
#include "analyze/tables/median.h"
#include "analyze/tables/table.h"

/* A complete breath of s seconds with nothing measured. */
static struct breath_row breath(double s)
{
    static int64_t at;
    struct breath_row r;
    memset(&r, 0, sizeof r);
    r.t0_ns = at;
    r.t2_ns = at + (int64_t)(s * 1e9);
    at = r.t2_ns;
    r.complete = true;
    for (int c = 0; c < COL_N; c++) {
        r.v[c] = (double)NAN;
        r.why[c] = WHY_no_hold;
    }
    return r;
}

static void test_published(void **state)
{
    (void)state;
    static const struct {
        enum target_id id;
        enum col column;
        double threshold;
        bool under;
    } paper[] = {
        {TARGET_vt_over_6, COL_vt_ml_kg, 6, false},             /* N Engl J Med 2000;342:1301 */
        {TARGET_vt_over_8, COL_vt_ml_kg, 8, false},             /* three societies 2017: 4 to 8 mL/kg */
        {TARGET_vt_under_4, COL_vt_ml_kg, 4, true},             /* the same */
        {TARGET_pplat_over_30, COL_pplat_cmh2o, 30, false},     /* N Engl J Med 2000;342:1301 */
        {TARGET_driving_over_15, COL_driving_cmh2o, 15, false}, /* N Engl J Med 2015;372:747 (from memory) */
        {TARGET_driving_airway_over_15, COL_driving_airway_cmh2o, 15, false},
        {TARGET_power_over_17, COL_power_j_min, 17, false},     /* doi 10.1007/s00134-018-5375-6 */
        {TARGET_power_over_12, COL_power_j_min, 12, false},     /* Anesthesiology 2016;124:1100 (from memory) */
    };
    for (size_t i = 0; i < sizeof paper / sizeof paper[0]; i++) {
        const struct target_info *t = target_info(paper[i].id);
        assert_true(t->column == paper[i].column && t->threshold == paper[i].threshold && t->under == paper[i].under);
        assert_true(!target_level(paper[i].id) && t->title[0] && t->meaning[0] && t->source[0]);
        assert_true(table_find(table_get(TABLE_HOURS), t->name) < 0);
    }
    assert_true(target_level(TARGET_autopeep_over_5) && target_info(TARGET_autopeep_over_5)->threshold == 5);
}

/* On the threshold is not beyond it; 30.001 is, though it is printed as 30.00. */
static void test_boundary(void **state)
{
    (void)state;
    static const struct {
        enum target_id id;
        double v;
        enum target_verdict want;
    } cases[] = {
        {TARGET_pplat_over_30, 30, TARGET_WITHIN},  {TARGET_pplat_over_30, 30.001, TARGET_BEYOND},
        {TARGET_vt_under_4, 4, TARGET_WITHIN},      {TARGET_vt_under_4, 3.999, TARGET_BEYOND},
        {TARGET_vt_over_8, 8.001, TARGET_BEYOND},   {TARGET_vt_over_8, 7.9, TARGET_WITHIN},
        {TARGET_driving_over_15, 15.2, TARGET_BEYOND}, {TARGET_autopeep_over_1, 0, TARGET_WITHIN},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct breath_row r = breath(3);
        enum reason why;
        r.v[target_info(cases[i].id)->column] = cases[i].v;
        assert_int_equal(target_judge(cases[i].id, &r, &why), cases[i].want);
        assert_int_equal(why, WHY_NONE);
    }
}

static void test_not_judged(void **state)
{
    (void)state;
    enum reason why;
    struct breath_row r = breath(3);
    assert_int_equal(target_judge(TARGET_pplat_over_30, &r, &why), TARGET_UNJUDGED);
    assert_int_equal(why, WHY_no_hold);
    r.v[COL_pplat_cmh2o] = 35;
    r.v[COL_vt_ml_kg] = 9;
    r.quality = UINT64_C(1) << WHY_event; /* a held breath has its own plateau; its volume does not count */
    assert_int_equal(target_judge(TARGET_pplat_over_30, &r, &why), TARGET_BEYOND);
    assert_int_equal(target_judge(TARGET_vt_over_8, &r, &why), TARGET_UNJUDGED);
    assert_int_equal(why, WHY_event);
    r.quality = 0;
    r.complete = false;
    assert_int_equal(target_judge(TARGET_pplat_over_30, &r, &why), TARGET_UNJUDGED);
    assert_int_equal(why, WHY_gap);
}

/* 40 breaths of 3 s at 7 mL/kg, 20 of 6 s at 9, 5 without a volume: 20 of 60 judged, 2 of 4 minutes. */
static void test_counts(void **state)
{
    (void)state;
    static struct targets t;
    assert_int_equal(targets_init(&t), TM_OK);
    for (int i = 0; i < 65; i++) {
        struct breath_row r = breath(i < 40 ? 3 : 6);
        r.why[COL_vt_ml_kg] = WHY_leak_high;
        if (i < 60)
            r.v[COL_vt_ml_kg] = i < 40 ? 7 : 9;
        targets_breath(&t, &r);
    }
    const struct target_count c = targets_sum(&t, TARGET_vt_over_8);
    assert_int_equal(c.judged, 60);
    assert_int_equal(c.beyond, 20);
    assert_int_equal(c.judged_ns / NS_PER_S, 240);
    assert_int_equal(c.beyond_ns / NS_PER_S, 120);
    assert_int_equal(t.why[TARGET_vt_over_8][WHY_leak_high], 5);
    assert_int_equal(t.why[TARGET_pplat_over_30][WHY_no_hold], 65);
    assert_int_equal(targets_sum(&t, TARGET_vt_over_6).beyond, 60);
    assert_int_equal(targets_sum(&t, TARGET_vt_under_4).beyond, 0);
    targets_release(&t);
}

/* Auto-PEEP 2 at 15 a minute and 6 at 30: what goes along with over 5, and not the held breath's long time. */
static void test_autopeep(void **state)
{
    (void)state;
    static struct targets t;
    assert_int_equal(targets_init(&t), TM_OK);
    for (int i = 0; i < 71; i++) {
        const bool fast = i % 2, held = i == 70;
        struct breath_row r = breath(held ? 20 : fast ? 2 : 4);
        r.v[COL_autopeep_cmh2o] = held ? 7 : fast ? 6 : 2;
        r.autopeep_basis = held ? AUTOPEEP_HOLD : AUTOPEEP_FLOW;
        r.quality = held ? UINT64_C(1) << WHY_event : 0;
        r.v[COL_rate_per_min] = held ? 3 : fast ? 30 : 15;
        r.v[COL_vte_ml] = fast ? 480 : 420;
        r.v[COL_te_s] = fast ? 1.25 : 2.75;
        targets_breath(&t, &r);
    }
    const struct target_count sum = targets_sum(&t, TARGET_autopeep_over_5);
    assert_int_equal(sum.judged, 71);
    assert_int_equal(sum.beyond, 36);
    assert_int_equal(sum.beyond_ns / NS_PER_S, 35 * 2 + 20);
    assert_int_equal(t.count[TARGET_autopeep_over_5][AUTOPEEP_HOLD].beyond, 1);
    assert_int_equal(t.count[TARGET_autopeep_over_5][AUTOPEEP_FLOW].beyond, 35);
    assert_string_equal(target_basis_name(TARGET_autopeep_over_5, AUTOPEEP_HOLD), "hold");
    struct median *(*m)[COMPANIONS] = t.companion[TARGET_autopeep_over_5];
    assert_int_equal(median_n(m[1][COMPANION_RATE]), 35);
    assert_int_equal(median_n(m[0][COMPANION_RATE]), 35);
    assert_true(median_of(m[1][COMPANION_RATE], 0.5) == 30 && median_of(m[0][COMPANION_RATE], 0.5) == 15);
    assert_true(median_of(m[1][COMPANION_VTE], 0.5) == 480 && median_of(m[0][COMPANION_VTE], 0.5) == 420);
    assert_true(median_of(m[1][COMPANION_TE], 0.5) == 1.25 && median_of(m[0][COMPANION_TE], 0.5) == 2.75);
    assert_int_equal(targets_sum(&t, TARGET_autopeep_over_10).beyond, 0);
    targets_release(&t);
}

static int last_hour(void *user, const struct hour_row *h)
{
    *(struct hour_row *)user = *h;
    return TM_OK;
}

/* Of 20 breaths of 3 s: 10 the patient started, one of them perhaps the machine itself; 4 more hold two sure efforts each, 1 a possible
 * one, 4 none, and in 1 none could be looked for: 17 efforts in 57 s, and one possible. */
static void test_own_rate(void **state)
{
    (void)state;
    struct recording_info info;
    struct hour_row h;
    struct hours *hours;
    recording_info_defaults(&info);
    memset(&h, 0, sizeof h);
    assert_int_equal(hours_new(&hours, &info, INT64_MIN, INT64_MAX, last_hour, &h), TM_OK);
    for (int i = 0; i < 20; i++) {
        struct breath_row r = breath(3);
        r.initiation = i < 10 ? INIT_PATIENT : INIT_MACHINE;
        if (i < 19)
            r.v[COL_effort] = i >= 10 && i < 14 ? 2 : i == 14 ? 1 : 0;
        r.pattern[PATTERN_auto_trigger] = i == 0 ? CONF_POSSIBLE : CONF_NONE;
        r.efforts = i >= 10 && i < 14 ? 2 : 0;
        r.v[COL_vt_ml_kg] = i == 3 ? 8.5 : 7;
        assert_int_equal(hours_breath(hours, &r), TM_OK);
    }
    assert_int_equal(hours_end(hours), TM_OK);
    hours_destroy(hours);
    assert_int_equal(h.efforts, 17);
    assert_int_equal(h.efforts_possible, 1);
    assert_int_equal(h.efforts_ns / NS_PER_S, 57);
    assert_int_equal(h.target[TARGET_vt_over_8].judged, 20);
    assert_int_equal(h.target[TARGET_vt_over_8].beyond, 1);
    assert_int_equal(h.target[TARGET_vt_over_8].beyond_ns / NS_PER_S, 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published), cmocka_unit_test(test_boundary), cmocka_unit_test(test_not_judged),
        cmocka_unit_test(test_counts),    cmocka_unit_test(test_autopeep), cmocka_unit_test(test_own_rate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
