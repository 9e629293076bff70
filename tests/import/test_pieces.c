/* The pieces in which bytes arrive never show: whole, in random pieces, and byte by byte give the same samples, the
 * same notices with the same lines. And a text read the fast way and the careful way is the same. */
#include "tests/import/reading.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define TEXT_MAX (1u << 20)

static uint32_t next(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed >> 8;
}

/* A recording with mishaps: about one line in `odd` has something wrong with it. */
static size_t invent(char *text, uint32_t seed, int rows, unsigned odd, const char *line_end)
{
    static const char *const mishaps[] = {"0.1,2", "# a comment", "", "x,y,z", "\"0.1,2,3", "\"0\"1,2,3", "0.1,2,3,4", ",,",
                                          "x,2\"3,4", "%", ",nan,inf"};
    size_t n = (size_t)sprintf(text, "t_s,paw_cmh2o,flow_lps%s", line_end);
    int64_t t = 0;
    for (int i = 0; i < rows; i++) {
        t += 10000 + (next(&seed) % 500 == 0 ? 30000 : 0);
        if (odd && next(&seed) % odd == 0)
            n += (size_t)sprintf(text + n, "%s%s", mishaps[next(&seed) % (sizeof mishaps / sizeof mishaps[0])], line_end);
        double paw = (double)(next(&seed) % 4000) / 100, flow = (double)(int)(next(&seed) % 2000) / 1000 - 1;
        n += (size_t)sprintf(text + n, "%.2f,%.*f,%.*f%s", (double)t * 1e-6, (int)(next(&seed) % 4), paw,
                             (int)(next(&seed) % 7), flow, line_end);
    }
    return n;
}

static void pieces(void **state)
{
    (void)state;
    char *text = malloc(TEXT_MAX);
    assert_non_null(text);
    static const char *const ends[] = {"\n", "\r\n", "\r"};
    static const size_t most[] = {1, 7, 100, 5000, 70000};
    for (uint32_t seed = 1; seed <= 12; seed++) {
        size_t n = invent(text, seed, seed % 4 == 0 ? 12000 : 1200, seed % 2 ? 50 : 0, ends[seed % 3]);
        struct fake_part part = {text, n, false, true};
        struct reading *whole = read_parts(&part, 1, NULL, 0, 0);
        if (whole->rc != TM_OK || whole->n < 900)
            fail_msg("seed %u: %zu samples; %s", seed, whole->n, whole->err.what);
        for (size_t k = 0; k < sizeof most / sizeof most[0]; k++) {
            struct reading *cut = read_parts(&part, 1, NULL, most[k], seed * 77);
            if (!reading_same(whole, cut))
                fail_msg("seed %u, pieces up to %zu: %zu samples and %zu notices, whole: %zu and %zu", seed, most[k],
                         cut->n, cut->n_said, whole->n, whole->n_said);
            reading_free(cut);
        }
        reading_free(whole);
    }
    free(text);
}

/* A last line without its end counts, however long ago the first bytes were looked at. */
static void last_lines(void **state)
{
    (void)state;
    static const char *const ends[] = {"\n", "\r\n", "\r"};
    char *text = malloc(TEXT_MAX);
    assert_non_null(text);
    for (size_t i = 0; i < 3; i++) {
        size_t n = invent(text, 5, 30000, 0, ends[i]);
        for (size_t cut = 0; cut <= strlen(ends[i]); cut++) {
            struct reading *r = read_text(text, n - cut, NULL);
            assert_int_equal(r->n, 30000);
            assert_null(reading_said(r, "lines_left_out"));
            reading_free(r);
        }
    }
    free(text);
}

static void losses(void **state)
{
    (void)state;
    char *text = malloc(TEXT_MAX);
    assert_non_null(text);
    for (uint32_t seed = 1; seed <= 20; seed++) {
        size_t n = invent(text, seed, 3000, 0, "\n");
        uint32_t s = seed;
        size_t a = 200 + next(&s) % (n / 2), b = a + next(&s) % 3000;
        struct fake_part parts[2] = {{text, a, false, true}, {text + b, n - b, true, false}};
        struct reading *whole = read_parts(parts, 2, NULL, 0, 0);
        assert_int_equal(whole->gaps, 1);
        for (size_t most = 1; most < 100000; most = most * 9 + 1) {
            struct reading *cut = read_parts(parts, 2, NULL, most, seed);
            assert_true(reading_same(whole, cut));
            reading_free(cut);
        }
        reading_free(whole);
    }
    free(text);
}

/* With the first field of each row in quotes, the same numbers go the careful way. */
static void two_ways(void **state)
{
    (void)state;
    char *text = malloc(TEXT_MAX), *quoted = malloc(TEXT_MAX);
    assert_non_null(text);
    assert_non_null(quoted);
    for (uint32_t seed = 100; seed < 110; seed++) {
        size_t n = invent(text, seed, 3000, 0, seed % 2 ? "\n" : "\r\n"), q = 0;
        bool header = true;
        bool open = false;
        for (size_t i = 0; i < n; i++) {
            if (!header && i > 0 && text[i - 1] == '\n') {
                quoted[q++] = '"';
                open = true;
            }
            if (open && text[i] == ',') {
                quoted[q++] = '"';
                open = false;
            }
            quoted[q++] = text[i];
            header = header && text[i] != '\n';
        }
        struct reading *a = read_text(text, n, NULL), *b = read_text(quoted, q, NULL);
        assert_int_equal(a->n, 3000);
        assert_true(reading_same(a, b));
        reading_free(a);
        reading_free(b);
    }
    free(text);
    free(quoted);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(pieces), cmocka_unit_test(last_lines), cmocka_unit_test(losses), cmocka_unit_test(two_ways)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
