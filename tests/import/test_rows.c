/* What happens row by row: bad lines cost themselves and are told with their line; what is good around them stays. */
#include "tests/import/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define N(a)   (sizeof(a) / sizeof(a)[0])
#define HEAD   "t_s,paw_cmh2o,flow_lps\n"
#define BEFORE HEAD "0.00,10,0.1\n0.01,11,0.2\n0.02,12,0.3\n"
#define AFTER  "0.04,14,0.5\n0.05,15,0.6\n"

/* One odd line (line 5) among good ones. */
static void odd_lines(void **state)
{
    (void)state;
    static const struct {
        const char *line;
        const char *code;  /* NULL: nothing is said */
        const char *what;
        size_t n;          /* samples in all */
        bool paw, flow;    /* measured on that line, where it stays */
    } table[] = {
        {"0.03,13,0.4\n", NULL, "", 6, true, true},
        {"0.03,1e,0.4\n", "bad_number", "column 2, character 2: '1e'", 6, false, true},
        {"0.03,13,0.4a\n", "bad_number", "column 3, character 4: '0.4a'", 6, true, false},
        {"0.03,13,0,4\n", "ragged", "4 fields, not 3", 5, false, false},
        {"0.03,13\n", "ragged", "2 fields, not 3", 5, false, false},
        {"0.03\n", "ragged", "1 fields, not 3", 5, false, false},
        {"x,13,0.4\n", "bad_time", "column 1: 'x' is no time", 5, false, false},
        {",13,0.4\n", "bad_time", "column 1: ''", 5, false, false},
        {",,\n", "bad_time", "", 5, false, false},
        {"0.03,nan,0.4\n", "bad_value", "column 2: 'nan'", 6, false, true},
        {"0.03,13,-inf\n", "bad_value", "column 3: '-inf'", 6, true, false},
        {"0.03,1e308,0.4\n", "bad_value", "column 2: '1e308'", 6, false, true},
        {"0.03,1e999,0.4\n", "bad_value", "column 2: '1e999'", 6, false, true},
        {"0.03,13,99999\n", "bad_value", "column 3: '99999'", 6, true, false},
        {"0.03,,0.4\n", "values_missing", "1 values not measured: 1 empty", 6, false, true},
        {"0.03,13,\n", "values_missing", "1 empty", 6, true, false},
        {"0.03,NA,-\n", "values_missing", "2 empty", 6, false, false},
        {"0.02,13,0.4\n", "repeated_time", "0.02 s, again", 5, false, false},
        {"0.03,\"13,0.4\n", "bad_quote", "never closed", 5, false, false},
        {"0.03,\"13\"x,0.4\n", "bad_quote", "behind a closing quote", 5, false, false},
        {"0.03,1\"3,0.4\n", "bad_number", "character 2", 6, false, true},
        {"# 0.03,13,0.4\n", NULL, "", 5, false, false}, /* then the step over it is a hole */
        {"\n", NULL, "", 5, false, false},
    };
    for (size_t i = 0; i < N(table); i++) {
        char text[400];
        int n = snprintf(text, sizeof text, BEFORE "%s" AFTER, table[i].line);
        struct reading *r = read_text(text, (size_t)n, NULL);
        const struct notice *said = table[i].code ? reading_said(r, table[i].code) : NULL;
        bool wrong = r->rc != TM_OK || r->end != SRC_END || r->n != table[i].n;
        if (table[i].code && (!said || !strstr(said->what, table[i].what)))
            wrong = true;
        if (said && strcmp(said->code, "values_missing") != 0 && said->line != 5)
            wrong = true;
        if (!table[i].code && r->n_said != 1u + (r->n == 5)) /* the columns */
            wrong = true;
        if (!wrong && r->n == 6 &&
            (isnan(r->v[CH_PAW][3]) == table[i].paw || isnan(r->v[CH_FLOW][3]) == table[i].flow || r->t_ns[3] != 30000000))
            wrong = true;
        if (!wrong && (r->v[CH_PAW][2] != 12 || r->v[CH_PAW][r->n - 1] != 15 || r->t_ns[r->n - 1] != 50000000))
            wrong = true;
        if (wrong)
            fail_msg("%s: rc %d, %zu samples, %s", table[i].line, r->rc, r->n, said ? said->what : "(not said)");
        reading_free(r);
    }
}

static void binary_line(void **state)
{
    (void)state;
    static const char text[] = BEFORE "0.03,1\0003,0.4\n" AFTER;
    struct reading *r = read_text(text, sizeof text - 1, NULL);
    assert_int_equal(r->n, 5);
    assert_int_equal(reading_said(r, "binary")->line, 5);
    reading_free(r);
}

static void million_characters(void **state)
{
    (void)state;
    size_t n = 1000000, before = strlen(BEFORE), after = strlen(AFTER);
    char *text = malloc(before + n + after);
    assert_non_null(text);
    for (int quoted = 0; quoted < 2; quoted++) {
        memcpy(text, BEFORE, before);
        memset(text + before, '7', n);
        text[before + 2] = quoted ? '"' : '7';
        text[before + 1] = ',';
        text[before + n - 1] = '\n';
        memcpy(text + before + n, AFTER, after);
        struct reading *r = read_text(text, before + n + after, NULL);
        assert_int_equal(r->rc, TM_OK);
        assert_int_equal(r->n, 5);
        assert_int_equal(reading_said(r, "long_line")->line, 5);
        assert_int_equal(reading_count(r, "long_line"), 1);
        assert_null(reading_said(r, "bad_time"));
        reading_free(r);
    }
    free(text);
}

static void lines_are_exact(void **state)
{
    (void)state;
    /* A comment, a blank line, a quoted line end (two lines) and CRLF come before line 9. */
    static const char text[] = "# c\r\nt_s,paw_cmh2o,flow_lps,note\r\n\r\n0.00,10,0.1,\"a\r\nb\"\r\n0.01,11,0.2,x\r\n"
                               "0.02,12,0.3,x\r\n0.03,13,0.4,x\r\n0.04,bad,0.5,x\r\n0.05,12,0.3,x\r\n";
    struct reading *r = read_text(text, sizeof text - 1, NULL);
    assert_int_equal(r->n, 6);
    assert_int_equal(reading_said(r, "bad_number")->line, 9);
    reading_free(r);
}

static void falls(void **state)
{
    (void)state;
    static const char text[] = BEFORE "0.01,13,0.4\n" AFTER;
    struct reading *r = read_text(text, sizeof text - 1, NULL);
    assert_int_equal(r->n, 3); /* what follows does not come back */
    assert_int_equal(r->end, SRC_END);
    const struct notice *said = reading_said(r, "time_falls");
    assert_int_equal(said->level, NOTICE_FATAL);
    assert_int_equal(said->line, 5);
    assert_non_null(strstr(said->what, "falls by 0.01 s"));
    reading_free(r);
    /* A clock: a fall by over 12 h is midnight, a smaller one ends the data. */
    static const char clock[] = "time,paw_cmh2o,flow_lps\n13:00:00.00,1,2\n13:00:00.01,1,2\n13:00:00.02,1,2\n01:00:00.01,1,2\n"
                                "01:00:00.02,1,2\n00:59:59,1,2\n";
    r = read_text(clock, sizeof clock - 1, NULL);
    assert_int_equal(r->n, 5);
    assert_int_equal(r->t_ns[3], INT64_C(43200010000000)); /* 12 h and 10 ms */
    assert_int_equal(reading_said(r, "time_falls")->line, 7);
    reading_free(r);
}

static void holes(void **state)
{
    (void)state;
    static const char text[] = BEFORE "0.03,1,0\n0.04,1,0\n0.05,1,0\n0.07,14,0.5\n0.09,15,0.6\n1.09,15,0.6\n1.10,15,0.6\n";
    struct reading *r = read_text(text, sizeof text - 1, NULL);
    assert_int_equal(r->n, 10);
    assert_true(r->info.regular);
    assert_non_null(strstr(reading_said(r, "holes")->what, "3 holes in the samples, 1.04 s"));
    assert_int_equal(r->gaps, 0); /* a receiver sees them from the times */
    reading_free(r);
}

static void no_clock(void **state)
{
    (void)state;
    /* Without stamps, a line that can't be read keeps its place. */
    static const char text[] = "paw_cmh2o,flow_lps\n10,0.1\n11\n12,0.3\nx,0.4\n14,0.5\n";
    struct import_opts o;
    import_opts_defaults(&o);
    o.rate_hz = 1000.0 / 3;
    struct reading *r = read_text(text, sizeof text - 1, &o);
    assert_int_equal(r->n, 5);
    assert_true(isnan(r->v[CH_PAW][1]) && isnan(r->v[CH_FLOW][1]) && isnan(r->v[CH_PAW][3]));
    assert_true(r->v[CH_FLOW][3] == 0.4 && r->t_ns[4] == 12000000);
    assert_int_equal(r->info.clock, CLOCK_RATE_ONLY);
    assert_true(r->info.rate_num == 1000 && r->info.rate_den == 3);
    reading_free(r);
}

static void damage(void **state)
{
    (void)state;
    static const char one[] = BEFORE "0.03,13", two[] = "9,0.4\n0.10,20,1\n0.11,21,1\n", three[] = "0.20,30,1\n0.21,31,1\n";
    struct fake_part parts[3] = {{one, sizeof one - 1, false, true}, {two, sizeof two - 1, true, false},
                                 {three, sizeof three - 1, true, true}};
    struct reading *r = read_parts(parts, 3, NULL, 0, 0);
    assert_int_equal(r->rc, TM_OK);
    assert_int_equal(r->gaps, 2);
    assert_string_equal(r->gap.reason, "damaged");
    /* The torn line before the loss, and the rest of one behind it, are given up; a member that begins with a
     * line is kept whole. */
    assert_int_equal(r->n, 7);
    assert_int_equal(r->t_ns[3], 100000000);
    assert_int_equal(r->t_ns[5], 200000000);
    assert_int_equal(r->gap_at, 5);
    assert_int_equal(r->gap.from_ns, 110000000);
    reading_free(r);
    parts[2].n = 0; /* bytes were lost at the very end */
    r = read_parts(parts, 3, NULL, 0, 0);
    assert_int_equal(r->n, 5);
    assert_int_equal(r->end, SRC_END);
    reading_free(r);
}

static void averages(void **state)
{
    (void)state;
    static char text[40000];
    size_t n = (size_t)snprintf(text, sizeof text, HEAD);
    for (int i = 0; i < 1000; i++) /* 4 kHz, with a hole behind row 601 and a value missing in row 4 */
        n += (size_t)snprintf(text + n, sizeof text - n, i == 4 ? "%.5f,,%d\n" : "%.5f,%d,%d\n",
                              i * 0.00025 + (i > 601 ? 0.1 : 0), i % 8, i % 8);
    struct import_opts o;
    import_opts_defaults(&o);
    o.average = 8;
    struct reading *r = read_text(text, n, &o);
    assert_int_equal(r->rc, TM_OK);
    assert_int_equal(r->n, 75 + 49); /* rows 600 and 601 do not fill a mean before the hole */
    assert_true(r->v[CH_FLOW][0] == 3.5 && r->v[CH_FLOW][74] == 3.5);
    assert_true(r->v[CH_PAW][0] == 3.429); /* 24/7, of the seven that were measured, to three decimals more */
    assert_int_equal(r->t_ns[0], 875000); /* between rows 3 and 4 */
    assert_int_equal(r->t_ns[75], 100000000 + 602 * 250000 + 875000);
    assert_true(r->info.rate_num == 500 && r->info.rate_den == 1);
    assert_int_equal(r->info.gap_limit_ns, 3000000);
    reading_free(r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(odd_lines), cmocka_unit_test(binary_line), cmocka_unit_test(million_characters),
        cmocka_unit_test(lines_are_exact), cmocka_unit_test(falls), cmocka_unit_test(holes),
        cmocka_unit_test(no_clock), cmocka_unit_test(damage), cmocka_unit_test(averages)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
