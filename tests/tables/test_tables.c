/* The tables themselves: names of the contract in their order, no empty text, rows made by hand, hours, body weight. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "analyze/session/hours.h"
#include "analyze/session/pbw.h"
#include "analyze/tables/csv.h"
#include "analyze/tables/hours_csv.h"
#include "analyze/tables/table.h"

/* The columns that stay for ever, as the first version published them. */
static const char contract[] =
    "breath start_s start_time kind initiation control ti_s te_s ttot_s rate_per_min ti_ttot vti_ml vte_ml vt_ml_kg "
    "leak_pct ve_l_min pip_cmh2o pmean_cmh2o peep_cmh2o total_peep_cmh2o autopeep_cmh2o autopeep_basis "
    "autopeep_flow_cmh2o autopeep_fit_cmh2o pplat_cmh2o pplat_basis driving_cmh2o driving_airway_cmh2o "
    "peak_insp_flow_l_s peak_exp_flow_l_s end_exp_flow_l_s cdyn_ml_cmh2o cstat_ml_cmh2o cstat_basis fit_crs_ml_cmh2o "
    "fit_r_cmh2o_s_l fit_re_cmh2o_s_l fit_p0_cmh2o fit_r2 rc_exp_s trapped_ml stress_index wob_j_l power_j_min p01_cmh2o "
    "rsbi_per_min_l trigger_delay_s trigger_drop_cmh2o effort flags unjudged quality why_empty";

static void test_contract(void **state)
{
    (void)state;
    char names[2000] = "";
    const struct table *t = table_get(TABLE_BREATHS);
    for (int i = 0; i < t->n_fields; i++) {
        strcat(names, i ? " " : "");
        strcat(names, t->fields[i].name);
    }
    assert_memory_equal(names, contract, sizeof contract - 1); /* further columns may follow */
}

static void test_every_entry_says_something(void **state)
{
    (void)state;
    for (int k = 0; k < TABLE_N; k++) {
        const struct table *t = table_get((enum table_id)k);
        assert_true(t->n_fields > 0 && t->meaning[0] && t->title[0]);
        for (int i = 0; i < t->n_fields; i++) {
            const struct field *f = &t->fields[i];
            assert_true(f->title[0] && f->meaning[0] && f->validity[0] && f->source[0]);
            assert_true(strcmp(f->title, f->name) != 0);
            assert_true(f->decimals >= 0 && f->decimals <= 3);
            assert_true(f->type != TYPE_TEXT || (!f->unit[0] && f->decimals == 0));
            assert_int_equal(table_find(t, f->name), i); /* names are unique */
            assert_int_equal(strspn(f->name, "abcdefghijklmnopqrstuvwxyz0123456789_"), strlen(f->name));
        }
    }
    for (int p = 0; p < PATTERN_N; p++)
        assert_true(pattern_info((enum pattern_id)p)->meaning[0] && pattern_info((enum pattern_id)p)->source[0]);
    for (int e = 0; e < EVENT_N; e++)
        assert_true(event_info((enum event_id)e)->meaning[0] && event_info((enum event_id)e)->source[0]);
    for (int r = 1; r < WHY_N; r++)
        assert_true(reason_name((enum reason)r)[0] && reason_meaning((enum reason)r)[0]);
}

struct text {
    size_t n;
    char s[60000];
};

static int keep(void *user, const void *data, size_t n)
{
    struct text *t = user;
    assert_true(t->n + n < sizeof t->s);
    memcpy(t->s + t->n, data, n);
    t->n += n;
    t->s[t->n] = '\0';
    return TM_OK;
}

static struct breath_row row_at(int64_t t0_ns, double ttot_s)
{
    struct breath_row r;
    memset(&r, 0, sizeof r);
    r.number = 1;
    r.t0_ns = t0_ns;
    r.t1_ns = t0_ns + NS_PER_S;
    r.t2_ns = t0_ns + (int64_t)(ttot_s * 1e9);
    r.complete = true;
    r.kind = KIND_ASSISTED;
    for (int c = 0; c < COL_N; c++) {
        r.v[c] = (double)NAN;
        r.why[c] = WHY_gap;
    }
    r.v[COL_rate_per_min] = 60 / ttot_s;
    return r;
}

/* Finds cell i of a line without quotes before it. */
static const char *cell(char *line, int i)
{
    char *p = line;
    while (i-- > 0)
        p = strchr(p, ',') + 1;
    p[strcspn(p, ",\n")] = '\0';
    return p;
}

static void test_row(void **state)
{
    (void)state;
    static struct text t;
    memset(&t, 0, sizeof t);
    struct recording_info info;
    recording_info_defaults(&info);
    struct cells *c;
    assert_int_equal(cells_new(&c, keep, &t), TM_OK);
    struct breath_row r = row_at(1234567890123, 3);
    r.quality = UINT64_C(1) << WHY_gap | UINT64_C(1) << WHY_unsteady;
    r.v[COL_vti_ml] = 449.95;
    r.why[COL_vt_ml_kg] = WHY_no_height;
    const struct csv_context x = {&info, WHY_height_range};
    assert_int_equal(csv_breath(c, &x, &r), TM_OK);
    assert_int_equal(cells_flush(c), TM_OK);
    assert_non_null(strstr(t.s, ",gap;unsteady,\"gap:ti_s,te_s,ttot_s,ti_ttot,vte_ml,leak_pct,"));
    assert_non_null(strstr(t.s, ";height_range:vt_ml_kg;no_mark:start_time"));
    assert_null(strstr(t.s, "nan"));
    assert_string_equal(cell(t.s, 1), "1234.568");
    cells_destroy(c);
}

static void test_event(void **state)
{
    (void)state;
    static struct text t;
    memset(&t, 0, sizeof t);
    struct cells *c;
    assert_int_equal(cells_new(&c, keep, &t), TM_OK);
    struct event e = {.start_ns = NS_PER_S, .end_ns = 3 * NS_PER_S, .id = EVENT_suction, .confidence = CONF_POSSIBLE, .n_values = 3};
    e.values[0] = (struct event_value){"kind", (double)NAN, 0, "open"};
    e.values[1] = (struct event_value){"lowest_cmh2o", -12.34, 1, NULL};
    e.values[2] = (struct event_value){"drawn_ml", (double)NAN, 0, NULL}; /* not available: absent */
    (void)snprintf(e.note, sizeof e.note, "cable out; 5=%%");
    assert_int_equal(csv_event(c, &e), TM_OK);
    assert_int_equal(cells_flush(c), TM_OK);
    assert_string_equal(t.s, "1.000,3.000,suction,possible,kind=open;lowest_cmh2o=-12.3;reason=cable%20out%3B%205%3D%25\n");
    cells_destroy(c);
}

/* N Engl J Med 2000;342:1301 in metric form; values computed from it, and one published row of a guideline digest that uses
 * inches (70 in, male: 73 kg), which the metric form meets within 0.5 kg. */
static void test_body_weight(void **state)
{
    (void)state;
    static const struct {
        double cm, f, m;
    } rows[] = {{152.4, 45.5, 50.0},   {160, 52.416, 56.916},   {165, 56.966, 61.466}, {170, 61.516, 66.016},
                {175, 66.066, 70.566}, {177.8, 68.614, 73.114}, {180, 70.616, 75.116}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_true(fabs(pbw_of(rows[i].cm, 'f', PATIENT_ADULT).kg - rows[i].f) < 0.001);
        assert_true(fabs(pbw_of(rows[i].cm, 'm', PATIENT_UNKNOWN).kg - rows[i].m) < 0.001);
        assert_int_equal(pbw_of(rows[i].cm, 'm', PATIENT_UNKNOWN).why, WHY_NONE);
    }
    assert_true(fabs(pbw_of(177.8, 'm', PATIENT_ADULT).kg - 73) < 0.5);
    assert_true(fabs(pbw_of(150, 'f', PATIENT_ADULT).kg - 43.316) < 0.001); /* computed, and said */
    assert_int_equal(pbw_of(150, 'f', PATIENT_ADULT).why, WHY_height_range);
    static const struct {
        double cm;
        char sex;
        enum patient_size size;
        enum reason why;
    } none[] = {{165, 0, PATIENT_ADULT, WHY_no_height},        {(double)NAN, 'f', PATIENT_ADULT, WHY_no_height},
                {136.9, 'f', PATIENT_ADULT, WHY_height_range}, {213.1, 'm', PATIENT_ADULT, WHY_height_range},
                {165, 'm', PATIENT_INFANT, WHY_height_range},  {165, 'm', PATIENT_CHILD, WHY_height_range}};
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        assert_true(isnan(pbw_of(none[i].cm, none[i].sex, none[i].size).kg));
        assert_int_equal(pbw_of(none[i].cm, none[i].sex, none[i].size).why, none[i].why);
    }
}

struct seen_hours {
    int n;
    struct hour_row row[16];
};

static int see(void *user, const struct hour_row *h)
{
    struct seen_hours *s = user;
    assert_true(s->n < 16);
    s->row[s->n++] = *h;
    return TM_OK;
}

/* 2.5 h of samples at 1 Hz with 100 s missing, then nothing for 3 h, then half an hour. Breaths come 120 s late. */
static void feed_hours(struct hours *h, size_t block)
{
    static struct sample_block b;
    b.channels = 1u << CH_PAW | 1u << CH_FLOW;
    b.n = 0;
    int64_t breath = 0;
    for (int64_t s = 0; s < 6 * 3600; s++) {
        if ((s > 1000 && s < 1100) || (s > 9000 && s < 19800))
            continue;
        b.t_ns[b.n] = s * NS_PER_S;
        b.v[CH_PAW][b.n] = 5;
        b.v[CH_FLOW][b.n] = s == 5000 ? (double)NAN : 0;
        const bool hole = s == 1000 || s == 9000;
        if (++b.n < block && s != 6 * 3600 - 1 && !hole)
            continue;
        for (; breath + 123 <= s; breath += 3) { /* the engine gives them first */
            if ((breath > 990 && breath < 1100) || (breath > 8990 && breath < 19800))
                continue;
            struct breath_row r = row_at(breath * NS_PER_S, 3);
            r.quality = breath % 300 == 0 ? UINT64_C(1) << WHY_event : 0;
            assert_int_equal(hours_breath(h, &r), TM_OK);
        }
        const struct item it = {.kind = ITEM_SAMPLES, .samples = &b};
        assert_int_equal(hours_item(h, &it), TM_OK);
        b.n = 0;
    }
    assert_int_equal(hours_end(h), TM_OK);
}

static void test_hours(void **state)
{
    (void)state;
    struct recording_info info;
    recording_info_defaults(&info);
    info.gap_limit_ns = NS_PER_S * 3 / 2;
    static struct seen_hours first;
    static const size_t blocks[] = {1, 7, 41, 97};
    for (size_t i = 0; i < 4; i++) {
        static struct seen_hours s;
        memset(&s, 0, sizeof s);
        struct hours *h;
        assert_int_equal(hours_new(&h, &info, INT64_MIN, INT64_MAX, see, &s), TM_OK);
        feed_hours(h, blocks[i]);
        hours_destroy(h);
        if (i == 0)
            first = s;
        assert_int_equal(s.n, first.n);
        for (int k = 0; k < s.n; k++) {
            assert_int_equal(s.row[k].hour, first.row[k].hour);
            assert_int_equal(s.row[k].observed_ns, first.row[k].observed_ns);
            assert_int_equal(s.row[k].breaths, first.row[k].breaths);
        }
    }
    /* Hours 3 and 4 have no row: nothing was recorded in them. */
    assert_int_equal(first.n, 4);
    assert_int_equal(first.row[0].hour, 0);
    assert_int_equal(first.row[2].hour, 2);
    assert_int_equal(first.row[3].hour, 5);
    assert_int_equal(first.row[0].observed_ns / NS_PER_S, 3500);     /* the hole from 1000 to 1100 s */
    assert_int_equal(first.row[1].observed_ns / NS_PER_S, 3600 - 2); /* one sample without flow spoils two steps */
    assert_int_equal(first.row[2].observed_ns / NS_PER_S, 1800);
    assert_int_equal(first.row[3].observed_ns / NS_PER_S, 1799);
    assert_int_equal(first.row[1].breaths, 1200);
    assert_int_equal(first.row[1].usable_breaths, 1188);
    assert_int_equal(first.row[1].usable_ns / NS_PER_S, 3564);
    assert_int_equal(first.row[1].kind[KIND_ASSISTED], 1200);
    assert_int_equal(first.row[1].n[HOUR_rate_per_min], 1188);
    assert_true(first.row[1].median[HOUR_rate_per_min] == 20);
    assert_true(isnan(first.row[1].median[HOUR_vte_ml]));
    assert_int_equal(first.row[1].n[HOUR_vte_ml], 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_contract), cmocka_unit_test(test_every_entry_says_something),
        cmocka_unit_test(test_row),      cmocka_unit_test(test_event),
        cmocka_unit_test(test_body_weight), cmocka_unit_test(test_hours),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
