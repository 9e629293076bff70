/* Numbers and stamps: exact, and the same by the fast and the careful way. */
#include "ingest/import/pace.h"
#include "ingest/import/stamp.h"
#include "tests/import/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define N(a) (sizeof(a) / sizeof(a)[0])

static void stamps(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum stamp_kind kind;
        int64_t ns;
        int places;
    } table[] = {
        {"0", STAMP_S, 0, 0},
        {"0.1", STAMP_S, 100000000, 1},
        {"0.30000000000000004", STAMP_S, 300000000, 9}, /* 0.1 + 0.2 in binary */
        {"33.589999999999996", STAMP_S, INT64_C(33590000000), 9},
        {"0.0000000005", STAMP_S, 1, 9}, /* halves away from zero */
        {"-0.0000000005", STAMP_S, -1, 9},
        {"0.00000000049999999999999999999999", STAMP_S, 0, 9},
        {"1.000000000000000021e-02", STAMP_S, 10000000, 9}, /* as numerical libraries write by default */
        {"1e2", STAMP_S, INT64_C(100000000000), 0},
        {"1714529624.12", STAMP_S, INT64_C(1714529624120000000), 2},
        {"1714529624120", STAMP_MS, INT64_C(1714529624120000000), 3},
        {"12.5", STAMP_MS, 12500000, 4},
        {"10001", STAMP_US, 10001000, 6},
        {"-1.468214", STAMP_S, -1468214000, 6},
        {"+.5", STAMP_S, 500000000, 1},
        {"5.", STAMP_S, INT64_C(5000000000), 0},
        {"00:00:00", STAMP_CLOCK, 0, 0},
        {"23:59:59.999", STAMP_CLOCK, DAY_NS - 1000000, 3},
        {"7:05", STAMP_CLOCK, INT64_C(25500000000000), 0},
        {"12:00:60", STAMP_CLOCK, INT64_C(43260000000000), 0},
        {"2024-05-01T04:13:44.120+02:00", STAMP_DATE, INT64_C(1714529624120000000), 3}, /* computed by a calendar */
        {"2024-05-01 02:13:44.120", STAMP_DATE, INT64_C(1714529624120000000), 3},
        {"1996-12-19T16:39:57-08:00", STAMP_DATE, INT64_C(851042397000000000), 0}, /* RFC 3339, 5.8 */
    };
    for (size_t i = 0; i < N(table); i++) {
        struct stamp s;
        bool good = stamp_parse(table[i].kind, table[i].text, strlen(table[i].text), '.', &s);
        if (!good || s.ns != table[i].ns || s.places != table[i].places)
            fail_msg("%s: %d, %lld ns, %d places", table[i].text, good, (long long)s.ns, s.places);
    }
}

static void no_stamps(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum stamp_kind kind;
    } table[] = {
        {"", STAMP_S},           {"abc", STAMP_S},          {"1.2.3", STAMP_S},      {"1e", STAMP_S},
        {"1e30", STAMP_S},       {"9300000000", STAMP_S},   {"nan", STAMP_S},        {"0x10", STAMP_S},
        {"12:00", STAMP_S},      {"1 2", STAMP_S},          {"24:00:00", STAMP_CLOCK}, {"24:00:01", STAMP_CLOCK},
        {"12:60:00", STAMP_CLOCK}, {"12:00:61", STAMP_CLOCK}, {"12", STAMP_CLOCK},   {"12:00:00x", STAMP_CLOCK},
        {"12:00:00.1e1", STAMP_CLOCK}, {"12:00:00.-1", STAMP_CLOCK}, {"2023-02-29T00:00:00Z", STAMP_DATE},
        {"2024-13-01T00:00:00Z", STAMP_DATE}, {"2024-05-01", STAMP_DATE},
    };
    for (size_t i = 0; i < N(table); i++) {
        struct stamp s;
        if (stamp_parse(table[i].kind, table[i].text, strlen(table[i].text), '.', &s))
            fail_msg("%s is taken for a time: %lld ns", table[i].text, (long long)s.ns);
    }
}

static uint32_t next(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed >> 8;
}

/* Numbers of every length against the C library's strtod (a second implementation), read plain, which is the fast
 * way, and inside quotes, which is the careful one. */
static void values_in(bool last)
{
    enum { ROWS = 5000 };
    static char plain[ROWS * 64 + 64], quoted[ROWS * 70 + 64], number[ROWS][32];
    const char *head = last ? "t_s,flow_lps,paw_cmh2o\n" : "t_s,paw_cmh2o,flow_lps\n";
    uint32_t seed = last ? 8 : 7;
    size_t p = (size_t)snprintf(plain, sizeof plain, "%s", head);
    size_t q = (size_t)snprintf(quoted, sizeof quoted, "%s", head);
    for (int i = 0; i < ROWS; i++) {
        int whole = (int)(next(&seed) % 3), places = (int)(next(&seed) % 18);
        size_t n = 0;
        number[i][0] = '\0';
        if (next(&seed) % 2)
            number[i][n++] = '-';
        for (int k = 0; k <= whole; k++)
            number[i][n++] = (char)('0' + next(&seed) % 10);
        if (places > 0)
            number[i][n++] = '.';
        for (int k = 0; k < places; k++)
            number[i][n++] = (char)('0' + next(&seed) % 10);
        number[i][n] = '\0';
        const char *before = last ? "0.1," : "", *after = last ? "" : ",0.1";
        p += (size_t)snprintf(plain + p, sizeof plain - p, "%d.%02d,%s%s%s\n", i / 100, i % 100, before, number[i], after);
        q += (size_t)snprintf(quoted + q, sizeof quoted - q, "%d.%02d,%s\"%s\"%s\n", i / 100, i % 100, before, number[i],
                              after);
    }
    struct reading *a = read_text(plain, p, NULL), *b = read_text(quoted, q, NULL);
    assert_int_equal(a->n, ROWS);
    assert_int_equal(b->n, ROWS);
    for (int i = 0; i < ROWS; i++) {
        double want = strtod(number[i], NULL);
        if (memcmp(&a->v[CH_PAW][i], &want, sizeof want) != 0 || memcmp(&b->v[CH_PAW][i], &want, sizeof want) != 0)
            fail_msg("%s: %.17g plain, %.17g in quotes, not %.17g", number[i], a->v[CH_PAW][i], b->v[CH_PAW][i], want);
        assert_int_equal(a->t_ns[i], i * INT64_C(10000000));
        assert_int_equal(b->t_ns[i], i * INT64_C(10000000));
    }
    reading_free(a);
    reading_free(b);
}

static void values(void **state)
{
    (void)state;
    values_in(false);
    values_in(true);
}

/* Exact definitions: 1 cmH2O = 98.0665 Pa; L/min is a sixtieth; tolerance 1e-12 relative. */
static void units(void **state)
{
    (void)state;
    static const struct {
        const char *paw, *flow;
        double paw_is, flow_is;
    } table[] = {
        {"cmH2O", "L/s", 20, 30},       {"hPa", "L/min", 20.394324259558566, 0.5}, {"mbar", "mL/s", 20.394324259558566, 0.03},
        {"kPa", "L/s", 203.94324259558566, 30}, {"CMH2O", "l/MIN", 20, 0.5},
    };
    static const char text[] = "t_s,pressure,flow\n0,20,30\n0.01,20,30\n0.02,20,30\n";
    for (size_t i = 0; i < N(table); i++) {
        struct import_opts o;
        import_opts_defaults(&o);
        o.pressure_unit = table[i].paw;
        o.flow_unit = table[i].flow;
        struct reading *r = read_text(text, sizeof text - 1, &o);
        assert_int_equal(r->rc, TM_OK);
        assert_int_equal(r->n, 3);
        if (fabs(r->v[CH_PAW][1] / table[i].paw_is - 1) > 1e-12 || fabs(r->v[CH_FLOW][1] / table[i].flow_is - 1) > 1e-12)
            fail_msg("%s %s: %.17g %.17g", table[i].paw, table[i].flow, r->v[CH_PAW][1], r->v[CH_FLOW][1]);
        reading_free(r);
    }
}

static void paces(void **state)
{
    (void)state;
    static const struct {
        double hz;
        int64_t resolution;
        int64_t num, den;
    } table[] = {{100, 10000000, 100, 1},   {100, 1, 100, 1},  {333 + 1.0 / 3, 1000000, 1000, 3}, {512, 1000, 512, 1},
                 {50, 1000000, 50, 1},      {125, 1000000, 125, 1}, {62.5, 1000000, 125, 2},       {128, 1000000, 128, 1},
                 {1000, 1000000, 1000, 1},  {25, 10000000, 25, 1}};
    static int64_t t[1000];
    for (size_t i = 0; i < N(table); i++) {
        for (int k = 0; k < 1000; k++) {
            int64_t exact = (int64_t)((double)k * 1e9 / table[i].hz + 0.5);
            t[k] = (exact + table[i].resolution / 2) / table[i].resolution * table[i].resolution;
        }
        struct pace p;
        pace_find(t, 1000, table[i].resolution, &p);
        if (!p.regular || p.rate_num != table[i].num || p.rate_den != table[i].den)
            fail_msg("%.6g Hz at %lld ns: regular %d, %lld/%lld", table[i].hz, (long long)table[i].resolution, p.regular,
                     (long long)p.rate_num, (long long)p.rate_den);
        assert_true(llabs(p.gap_limit_ns - (int64_t)(1.5e9 / table[i].hz)) <= 2);
    }
    uint32_t seed = 3;
    for (int k = 1; k < 1000; k++) /* jitter of 2 ms on 10 ms steps that the stamps' resolution of 1 us does not explain */
        t[k] = t[k - 1] + 9000000 + (int64_t)(next(&seed) % 2000) * 1000;
    struct pace p;
    pace_find(t, 1000, 1000, &p);
    assert_false(p.regular);
    assert_true(llabs(p.gap_limit_ns - 25000000) < 500000); /* 2.5 medians of 10 ms */
    for (int k = 1; k < 1000; k++)
        t[k] = t[k - 1] + 2000000 + (int64_t)(next(&seed) % 1000) * 1000;
    pace_find(t, 1000, 1000, &p);
    assert_int_equal(p.gap_limit_ns, 20000000); /* 20 ms at least */
}

static void grids(void **state)
{
    (void)state;
    struct grid g;
    grid_start(&g, 1000, 3);
    for (int64_t k = 0; k < 100000; k++)
        assert_int_equal(grid_take(&g), k * 3000000);
    grid_start(&g, 300, 1);
    for (int64_t k = 0; k < 100000; k++)
        assert_int_equal(grid_take(&g), (k * INT64_C(1000000000) + 150) / 300);
    int64_t num, den;
    pace_fraction(333.3333333, &num, &den);
    assert_int_equal(num, 1000);
    assert_int_equal(den, 3);
    pace_fraction(99.97, &num, &den);
    assert_true(num * 100 == den * 9997);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(stamps), cmocka_unit_test(no_stamps), cmocka_unit_test(values),
                                       cmocka_unit_test(units),  cmocka_unit_test(paces),     cmocka_unit_test(grids)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
