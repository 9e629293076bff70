/* Cells of the tables: numbers against the C library's printf, dates against its calendar and RFC 3339's examples,
 * quoting against RFC 4180, medians against sorting. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "analyze/tables/cells.h"
#include "analyze/tables/median.h"
#include "analyze/tables/number.h"
#include "analyze/tables/wallclock.h"

static uint64_t next_random(uint64_t *s)
{
    *s ^= *s << 13;
    *s ^= *s >> 7;
    *s ^= *s << 17;
    return *s;
}

/* printf rounds the exact value half to even in the default rounding mode (glibc); only a minus before a zero differs. */
static void same_as_printf(double v, int decimals)
{
    char want[400], got[NUMBER_MAX + 1];
    (void)snprintf(want, sizeof want, "%.*f", decimals, v);
    if (want[0] == '-' && strspn(want + 1, "0.") == strlen(want + 1))
        memmove(want, want + 1, strlen(want));
    got[number_put(got, v, decimals)] = '\0';
    assert_string_equal(got, want);
}

static void test_numbers(void **state)
{
    (void)state;
    static const double ties[] = {0.5, 1.5, 2.5, 0.125, 0.375, 2.675, 1.005, 0.0005, 0.0015, 1e-300, 4e-324, 123456789.5,
                                  999.9995, 0.05, 0.45, 0.449999999999999};
    for (size_t i = 0; i < sizeof ties / sizeof ties[0]; i++)
        for (int d = 0; d <= 9; d++) {
            same_as_printf(ties[i], d);
            same_as_printf(-ties[i], d);
        }
    same_as_printf(0.0, 2);
    same_as_printf(-0.0, 2);
    uint64_t s = 88172645463325252u;
    for (int i = 0; i < 400000; i++) {
        const double unit = (double)(next_random(&s) >> 11) * 0x1p-53;
        const double v = (unit - 0.5) * ldexp(1, (int)(next_random(&s) % 40) - 15);
        same_as_printf(v, (int)(next_random(&s) % 10));
        /* exact ties: odd multiples of a power of two */
        same_as_printf((double)(int64_t)(next_random(&s) % 2000001 - 1000000) / 64.0, (int)(next_random(&s) % 7));
    }
    char b[NUMBER_MAX];
    assert_int_equal(number_put(b, (double)NAN, 2), 0);
    assert_int_equal(number_put(b, (double)INFINITY, 2), 0);
    assert_int_equal(number_put(b, 1e18, 0), 0);
    assert_int_equal(number_put(b, 1.0, 10), 0);
}

static void test_seconds(void **state)
{
    (void)state;
    static const struct {
        int64_t ns;
        const char *want;
    } rows[] = {{0, "0.000"}, {1500000, "0.002"}, {500000, "0.000"}, {2500000, "0.002"}, {2500001, "0.003"},
                {-1500000, "-0.002"}, {-400000, "0.000"}, {28800123456789, "28800.123"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char b[NUMBER_MAX + 1];
        b[number_put_ns(b, rows[i].ns)] = '\0';
        assert_string_equal(b, rows[i].want);
    }
}

static void clock_is(int64_t unix_ns, int offset_min, int64_t t_ns, const char *want)
{
    struct recording_info info;
    recording_info_defaults(&info);
    info.start_known = true;
    info.start_unix_ns = unix_ns;
    info.start_offset_min = offset_min;
    char b[WALLCLOCK_MAX + 1];
    b[wallclock_put(b, &info, t_ns)] = '\0';
    assert_string_equal(b, want);
}

/* Examples of RFC 3339 section 5.8, and zones of a quarter and a half hour. */
static void test_dates(void **state)
{
    (void)state;
    clock_is(482196050520000000, 0, 0, "1985-04-12T23:20:50.520Z");
    clock_is(851042397000000000, -480, 0, "1996-12-19T16:39:57.000-08:00");
    clock_is(-1041337172130000000, 20, 0, "1937-01-01T12:00:27.870+00:20");
    clock_is(1704048300000000000, 345, 0, "2024-01-01T00:30:00.000+05:45");
    clock_is(1704101400000000000, -570, 0, "2024-01-01T00:00:00.000-09:30");
    clock_is(951782399000000000, 0, NS_PER_S, "2000-02-29T00:00:00.000Z");
    clock_is(2147483647000000000, 0, NS_PER_S, "2038-01-19T03:14:08.000Z");
    clock_is(0, 0, 1999999, "1970-01-01T00:00:00.001Z");
    uint64_t s = 4101842887655102017u;
    for (int i = 0; i < 20000; i++) {
        const time_t t = (time_t)(next_random(&s) % 8000000000u) - 2000000000;
        struct tm tm;
        assert_non_null(gmtime_r(&t, &tm));
        char want[64];
        (void)snprintf(want, sizeof want, "%04d-%02d-%02dT%02d:%02d:%02d.250Z", tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday,
                       tm.tm_hour, tm.tm_min, tm.tm_sec);
        clock_is((int64_t)t * NS_PER_S, 0, 250000000, want);
    }
    struct recording_info info;
    recording_info_defaults(&info);
    char b[WALLCLOCK_MAX];
    assert_int_equal(wallclock_put(b, &info, 0), 0);
}

struct collected {
    size_t n, calls, fail_at; /* fail_at: the call that fails; 0 none */
    bool whole_rows;
    char text[200000];
};

static int collect(void *user, const void *data, size_t n)
{
    struct collected *c = user;
    if (++c->calls == c->fail_at)
        return TM_ERR_SYSTEM;
    assert_true(c->n + n < sizeof c->text);
    memcpy(c->text + c->n, data, n);
    c->n += n;
    c->text[c->n] = '\0';
    c->whole_rows = c->whole_rows && (n == 0 || c->text[c->n - 1] == '\n');
    return TM_OK;
}

/* RFC 4180 section 2: quotes where a cell holds a comma, a quote or a line end, a quote is doubled. The apostrophe before a
 * formula is common practice, no source. */
static void test_quoting(void **state)
{
    (void)state;
    static struct collected c;
    memset(&c, 0, sizeof c);
    c.whole_rows = true;
    struct cells *w;
    assert_int_equal(cells_new(&w, collect, &c), TM_OK);
    cells_text(w, "a");
    cells_text(w, "b \"c\"");
    cells_text(w, "d,e");
    cells_text(w, "f\ng");
    cells_empty(w);
    cells_text(w, "a; b ");
    cells_free_text(w, "=1+2");
    cells_free_text(w, "@x \"y\"");
    cells_free_text(w, "plain");
    cells_number(w, -0.5, 1);
    cells_number(w, (double)NAN, 1);
    assert_int_equal(cells_end_row(w), TM_OK);
    assert_int_equal(cells_flush(w), TM_OK);
    assert_string_equal(c.text, "a,\"b \"\"c\"\"\",\"d,e\",\"f\ng\",,a; b ,\"'=1+2\",\"'@x \"\"y\"\"\",plain,-0.5,\n");
    cells_destroy(w);
}

static void test_pieces_and_failure(void **state)
{
    (void)state;
    static struct collected c;
    for (size_t fail = 0; fail < 2; fail++) {
        memset(&c, 0, sizeof c);
        c.whole_rows = true;
        c.fail_at = fail == 0 ? 0 : 2;
        struct cells *w;
        int rc = TM_OK;
        assert_int_equal(cells_new(&w, collect, &c), TM_OK);
        for (int i = 0; i < 12000; i++) {
            cells_integer(w, i);
            cells_text(w, "0123456789");
            rc = cells_end_row(w);
        }
        if (rc == TM_OK)
            rc = cells_flush(w);
        assert_true(c.whole_rows);
        assert_int_equal(rc, fail == 0 ? TM_OK : TM_ERR_SYSTEM);
        if (fail == 1)
            assert_int_equal(c.calls, 2); /* the first failure sticks: nothing more is handed on */
        cells_destroy(w);
    }
}

static int by_value(const void *a, const void *b)
{
    const long x = *(const long *)a, y = *(const long *)b;
    return (x > y) - (x < y);
}

static void test_medians(void **state)
{
    (void)state;
    struct median *m;
    assert_int_equal(median_new(&m, COL_peep_cmh2o), TM_OK);
    assert_true(isnan(median_of(m, 0.5)));
    uint64_t s = 9u;
    for (int round = 1; round < 60; round++) {
        long v[64];
        for (int i = 0; i < round; i++) {
            v[i] = (long)(next_random(&s) % 4000) - 1000;
            median_add(m, (double)v[i] / 100);
        }
        median_add(m, (double)NAN);
        qsort(v, (size_t)round, sizeof v[0], by_value);
        const long sum = v[(round - 1) / 2] + v[round / 2];
        long half = sum >= 0 ? sum / 2 : -((-sum) / 2); /* toward zero, then to even */
        if (sum % 2 != 0 && half % 2 != 0)
            half += sum < 0 ? -1 : 1;
        assert_int_equal(median_n(m), round);
        assert_int_equal(lround(median_of(m, 0.5) * 100), half);
        assert_int_equal(lround(median_of(m, 1.0) * 100), v[round - 1]);
        assert_int_equal(lround(median_of(m, 0.05) * 100), v[(int)ceil(0.05 * round) - 1]);
        median_clear(m);
    }
    median_add(m, 1e30); /* beyond the range: in the end bin, and counted */
    assert_int_equal(median_n(m), 1);
    median_destroy(m);
    assert_int_equal(median_new(&m, COL_kind), TM_ERR_USAGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers),  cmocka_unit_test(test_seconds),
        cmocka_unit_test(test_dates),    cmocka_unit_test(test_quoting),
        cmocka_unit_test(test_pieces_and_failure), cmocka_unit_test(test_medians),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
