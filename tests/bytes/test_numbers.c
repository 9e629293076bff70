/* Decimals against the C library's strtod and printf, times against RFC 3339's examples, units against exact
 * definitions. */
#include "ingest/decimal.h"
#include "ingest/rfc3339.h"
#include "ingest/units.h"

#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static uint64_t seed = 88172645463325252u;
static uint64_t rnd(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return seed;
}

static bool same_bits(double a, double b)
{
    return memcmp(&a, &b, sizeof a) == 0;
}

/* The log's decimal rule: RFC 5234 form ["-"] 1*DIGIT ["." 1*DIGIT]. */
static void strict_form(void **state)
{
    (void)state;
    static const char *const good[] = {"0", "-0", "00.5", "12.340", "123456789012345678901234567890.5"};
    static const char *const bad[] = {".5", "+1", "nan", "inf", "", "-", "5.", "-.5"};
    double v;
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        const char *end = good[i] + strlen(good[i]);
        assert_ptr_equal(decimal_scan(good[i], end, &v), end);
        assert_true(same_bits(v, strtod(good[i], NULL)));
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_null(decimal_scan(bad[i], bad[i] + strlen(bad[i]), &v));
    /* A number ends where the rule ends; the line's grammar refuses the rest. */
    const char *exp = "1e3", *hex = "0x1p3", *two = "1 2";
    assert_ptr_equal(decimal_scan(exp, exp + 3, &v), exp + 1);
    assert_ptr_equal(decimal_scan(hex, hex + 5, &v), hex + 1);
    assert_ptr_equal(decimal_scan(two, two + 3, &v), two + 1);
}

static void nearest_double(void **state)
{
    (void)state;
    char text[64];
    for (int k = 0; k < 300000; k++) {
        int digits = 1 + (int)(rnd() % 19), places = (int)(rnd() % 12);
        uint64_t m = rnd() % (uint64_t)(digits < 19 ? decimal_pow10[digits] : 1e19);
        int n = snprintf(text, sizeof text, "%s%llu", rnd() & 1 ? "-" : "", (unsigned long long)m);
        if (places > 0)
            n += snprintf(text + n, sizeof text - (size_t)n, ".%0*llu", places,
                          (unsigned long long)(rnd() % (uint64_t)decimal_pow10[places]));
        double v, w;
        assert_ptr_equal(decimal_scan(text, text + n, &v), text + n);
        assert_true(same_bits(v, strtod(text, NULL)));
        int shown;
        assert_int_equal(decimal_parse(text, (size_t)n, '.', &w, &shown), DECIMAL_OK);
        assert_true(same_bits(v, w));
        assert_int_equal(shown, places);
    }
}

/* Every number of the usual form, against the C library's; what is not of the form is refused or not read to its end. */
static void usual_form(void **state)
{
    (void)state;
    char text[16];
    for (int m = 0; m < 100000; m++) {
        for (int places = 2; places <= 3; places++) {
            const int one = places == 2 ? 100 : 1000;
            int n = snprintf(text, sizeof text, "%s%d.%0*d,", m % 3 ? "" : "-", m / one, places, m % one);
            double v = 0;
            if (m / one > 99) {
                assert_null(decimal_usual(text, 1, &v));
                continue;
            }
            assert_ptr_equal(decimal_usual(text, 1, &v), text + n - 1);
            assert_true(same_bits(v, strtod(text, NULL)));
            assert_ptr_equal(decimal_usual(text, -0.25, &v), text + n - 1);
            assert_true(same_bits(v, strtod(text, NULL) * -0.25));
        }
    }
    static const char *const other[] = {"1,5,    ", "12,     ", "1.2,    ", ".55,    ", "--1.25, ", "+1.25,  ", "1..25,  ", "a.25,   "};
    double v;
    for (size_t i = 0; i < sizeof other / sizeof other[0]; i++)
        assert_null(decimal_usual(other[i], 1, &v));
    const char *longer = "1.2345, ";
    assert_ptr_equal(decimal_usual(longer, 1, &v), longer + 5);
}

static void free_form(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        char point;
        enum decimal_rc rc;
        double v;
        int places;
    } rows[] = {
        {" 12.5 ", '.', DECIMAL_OK, 12.5, 1}, {"+1", '.', DECIMAL_OK, 1, 0},
        {".5", '.', DECIMAL_OK, 0.5, 1},      {"5.", '.', DECIMAL_OK, 5, 0},
        {"-1e-3", '.', DECIMAL_OK, -1e-3, 3}, {"1.25E2", '.', DECIMAL_OK, 125, 0},
        {"1e308", '.', DECIMAL_OK, 1e308, 0}, {"1e309", '.', DECIMAL_RANGE, 0, 0},
        {"12,5", ',', DECIMAL_OK, 12.5, 1},   {"12.5", ',', DECIMAL_BAD, 0, 0},
        {"12,5", '.', DECIMAL_BAD, 0, 0},     {"", '.', DECIMAL_EMPTY, 0, 0},
        {" \t", '.', DECIMAL_EMPTY, 0, 0},    {"nan", '.', DECIMAL_BAD, 0, 0},
        {"inf", '.', DECIMAL_BAD, 0, 0},      {"0x10", '.', DECIMAL_BAD, 0, 0},
        {"1 2", '.', DECIMAL_BAD, 0, 0},      {"1e", '.', DECIMAL_BAD, 0, 0},
        {"12a", '.', DECIMAL_BAD, 0, 0},      {".", '.', DECIMAL_BAD, 0, 0},
        {"1e-400", '.', DECIMAL_OK, 0, 400},  {"-", '.', DECIMAL_BAD, 0, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double v = 99;
        int places = -1;
        assert_int_equal(decimal_parse(rows[i].text, strlen(rows[i].text), rows[i].point, &v, &places), rows[i].rc);
        if (rows[i].rc == DECIMAL_OK) {
            assert_true(v == rows[i].v);
            assert_int_equal(places, rows[i].places);
        }
    }
}

/* Rounded as printf rounds: the exact binary value, ties to even. */
static void formats_like_printf(void **state)
{
    (void)state;
    char want[512], got[DECIMAL_BUF];
    for (int k = 0; k < 300000; k++) {
        int places = (int)(rnd() % 10);
        double v = (double)(int64_t)(rnd() % 2000001) - 1e6;
        v /= decimal_pow10[rnd() % 10];
        if (k % 5 == 0) /* ties and near ties */
            v = ((double)(int64_t)(rnd() % 20001) - 1e4 + 0.5) / decimal_pow10[places];
        (void)snprintf(want, sizeof want, "%.*f", places, v);
        if (strspn(want, "-0.") == strlen(want) && v != 0)
            memmove(want, want + (want[0] == '-'), strlen(want)); /* ours gives no -0.00 there */
        size_t n = decimal_format(got, v, places);
        assert_int_equal(n, strlen(want));
        assert_memory_equal(got, want, n);
    }
    assert_int_equal(decimal_format(got, 1e300, 3), 305);
    assert_int_equal(decimal_format(got, -0.0, 2), 5);
    assert_memory_equal(got, "-0.00", 5);
    assert_int_equal(decimal_format(got, 0.125, 18), 20);
    assert_memory_equal(got, "0.125000000000000000", 20);
}

/* A number of up to 15 digits, in a foreign unit, comes back from the program's unit digit by digit. */
static void units_lose_nothing(void **state)
{
    (void)state;
    char text[DECIMAL_BUF], back[DECIMAL_BUF];
    for (enum quantity q = 0; q < Q_N; q++) {
        const struct unit *u;
        for (size_t k = 0; (u = unit_of_quantity(q, k)); k++) {
            for (int i = 0; i < 20000; i++) {
                int places = (int)(rnd() % 10);
                double s = ((double)(int64_t)(rnd() % 2000000000000000u) - 1e15) / decimal_pow10[places];
                size_t n = decimal_format(text, s, places);
                (void)decimal_scan(text, text + n, &s);
                double x = s * u->factor;
                assert_int_equal(decimal_format(back, x / u->factor, places), n);
                assert_memory_equal(text, back, n);
            }
        }
    }
}

static void nanoseconds(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        int64_t ns;
    } rows[] = {{"0.000", 0}, {"-0.500", -500000000}, {"3601.000", 3601000000000}, {"1.000000001", 1000000001},
                {"0.123456", 123456000}};
    char buf[24];
    int64_t ns;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        size_t n = strlen(rows[i].text);
        assert_ptr_equal(decimal_scan_ns(rows[i].text, rows[i].text + n, &ns), rows[i].text + n);
        assert_int_equal(ns, rows[i].ns);
        assert_int_equal(decimal_format_ns(buf, ns), n);
        assert_memory_equal(buf, rows[i].text, n);
    }
    static const char ten[] = "1.0000000001", centuries[] = "9223372037", two_64[] = "18446744073709551616";
    assert_null(decimal_scan_ns(ten, ten + strlen(ten), &ns)); /* ten decimals */
    assert_null(decimal_scan_ns(centuries, centuries + strlen(centuries), &ns));
    uint64_t u;
    assert_null(decimal_scan_u64(two_64, two_64 + strlen(two_64), &u));
}

/* Seconds since 1970; the 1985, 1996, 1937 and 1990 rows are the examples of RFC 3339 section 5.8, the others by the
 * proleptic Gregorian calendar. */
static void internet_time(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        int64_t s, ns;
        int offset;
    } good[] = {
        {"1985-04-12T23:20:50.52Z", 482196050, 520000000, 0},
        {"2024-05-01T04:13:44.120+02:00", 1714529624, 120000000, 120},
        {"1996-12-19T16:39:57-08:00", 851042397, 0, -480},
        {"1937-01-01T12:00:27.87+00:20", -1041337173, 870000000, 20},
        {"1990-12-31T23:59:60Z", 662688000, 0, 0},
        {"1990-12-31T15:59:60-08:00", 662688000, 0, -480},
        {"2000-02-29T00:00:00Z", 951782400, 0, 0},
        {"2024-02-29T23:59:59Z", 1709251199, 0, 0},
        {"2024-01-01T00:30:00+05:45", 1704048300, 0, 345},
        {"2024-01-01T00:00:00-09:30", 1704101400, 0, -570},
        {"2024-03-31T01:59:59+01:00", 1711846799, 0, 60},
        {"2024-03-31T03:00:00+02:00", 1711846800, 0, 120},
        {"2024-10-27T02:30:00+02:00", 1729989000, 0, 120},
        {"2024-10-27T02:30:00+01:00", 1729992600, 0, 60},
        {"2038-01-19T03:14:07Z", 2147483647, 0, 0},
        {"2038-01-19T03:14:08Z", 2147483648, 0, 0},
        {"2024-03-10T01:59:59-05:00", 1710053999, 0, -300},
        {"2024-03-10t03:00:00-04:00", 1710054000, 0, -240},
        {"2024-11-03 01:30:00-04:00", 1730611800, 0, -240},
        {"2024-11-03T06:30:00-00:00", 1730615400, 0, 0},
        {"2024-11-03T06:30:00z", 1730615400, 0, 0},
    };
    static const char *const bad[] = {
        "2023-02-29T00:00:00Z",      "1900-02-29T00:00:00Z", "2100-02-29T00:00:00Z",   "2024-13-01T00:00:00Z",
        "2024-04-31T00:00:00Z",      "2024-04-01T24:00:01Z", "2024-04-01T25:00:00Z",   "2024-04-01T00:00:00+24:00",
        "2024-04-01T00:00:00",       "2024-04-01T00:00:00.", "2024-04-01T00:00:00,5Z", "2024-04-01T12:34:60Z",
        "2024-04-01T00:60:00Z",      "2024-W53-7T00:00:00Z", "24-04-01T00:00:00Z",     "2024-04-00T00:00:00Z",
        "2024-04-01T00:00:00+01:60", "2024-04-01",           "",                       "2024-04-01T00:00:00Zx"};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        int64_t ns;
        int off;
        assert_true(rfc3339_parse(good[i].text, strlen(good[i].text), &ns, &off));
        assert_int_equal(ns, good[i].s * NS_PER_S + good[i].ns);
        assert_int_equal(off, good[i].offset);
        char text[RFC3339_BUF];
        size_t n = rfc3339_format(text, ns, off, 9);
        int64_t again;
        assert_true(rfc3339_parse(text, n, &again, NULL));
        assert_int_equal(again, ns);
    }
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        int64_t ns;
        assert_false(rfc3339_parse(bad[i], strlen(bad[i]), &ns, NULL));
    }
    char text[RFC3339_BUF];
    (void)rfc3339_format(text, 1714529624120000000, 120, 3);
    assert_string_equal(text, "2024-05-01T04:13:44.120+02:00");
    (void)rfc3339_format(text, -1041337172130000000, 0, 2);
    assert_string_equal(text, "1937-01-01T11:40:27.87Z");
}

/* Conventional water column 98.0665 Pa, conventional mercury 133.322387415 Pa: exact definitions. */
static void unit_table(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum quantity q;
        double in, out;
    } rows[] = {{"hPa", Q_PRESSURE, 20, 20.394324259558564},  {"mbar", Q_PRESSURE, 40, 40.788648519117128},
                {"kPa", Q_PRESSURE, 1, 10.197162129779283},   {"cmH2O", Q_PRESSURE, 5, 5},
                {"cm[H2O]", Q_PRESSURE, 5, 5},                {"mmHg", Q_PRESSURE, 1, 1.35951},
                {"L/min", Q_FLOW, 60, 1},                     {"LPM", Q_FLOW, 30, 0.5},
                {"l_s", Q_FLOW, 1, 1},                        {"mL/s", Q_FLOW, 500, 0.5},
                {"kPa", Q_PARTIAL, 5, 37.503078792282814},    {"%", Q_FRACTION, 97, 0.97},
                {"l/min", Q_FLOW, 6, 0.1},                    {"mL", Q_VOLUME, 450, 0.45}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct unit *u = unit_find(rows[i].text, strlen(rows[i].text), rows[i].q);
        assert_non_null(u);
        assert_true(fabs(rows[i].in * u->factor / rows[i].out - 1) < 1e-12);
    }
    /* Not UCUM: customary spellings, and codes of something else. */
    static const char *const no[] = {"cmH2O", "mmHg", "LPM", "lpm", "ML/s", "cc", ""};
    for (size_t i = 0; i < sizeof no / sizeof no[0]; i++)
        for (enum quantity q = 0; q < Q_N; q++)
            assert_null(unit_find_ucum(no[i], strlen(no[i]), q));
    assert_string_equal(unit_find_ucum("l/s", 3, Q_FLOW)->ucum, "L/s");
    assert_true(unit_find("uncalibrated", 12, Q_FLOW)->uncalibrated);
    assert_null(unit_find("furlong", 7, Q_FLOW));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(strict_form), cmocka_unit_test(nearest_double), cmocka_unit_test(usual_form), cmocka_unit_test(free_form),
        cmocka_unit_test(nanoseconds), cmocka_unit_test(formats_like_printf), cmocka_unit_test(units_lose_nothing),
        cmocka_unit_test(unit_table),  cmocka_unit_test(internet_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
