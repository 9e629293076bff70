/* What is refused on opening, and whether the message says why and what would settle it. */
#include "tests/import/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define N(a)  (sizeof(a) / sizeof(a)[0])
#define ROWS3 "0.00,12.3,0.5\n0.01,12.4,0.6\n0.02,12.5,-0.7\n"

struct refusal {
    const char *what_is_it;
    const char *text;
    struct import_opts o;
    int rc;
    const char *what, *mend; /* parts of the message */
};

static void check(const struct refusal *x, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        struct import_opts o = x[i].o;
        if (o.rate_hz == 0)
            o.rate_hz = (double)NAN;
        struct reading *r = read_text(x[i].text, strlen(x[i].text), &o);
        if (r->rc != x[i].rc || !strstr(r->err.what, x[i].what) || !strstr(r->err.mend, x[i].mend))
            fail_msg("%s: rc %d, %s (%s)", x[i].what_is_it, r->rc, r->err.what, r->err.mend);
        reading_free(r);
    }
}

static void empty_files(void **state)
{
    (void)state;
    static const struct refusal table[] = {
        {"nothing", "", {0}, TM_ERR_INPUT, "empty", ""},
        {"a byte-order mark", "\xEF\xBB\xBF", {0}, TM_ERR_INPUT, "empty", ""},
        {"header only", "t_s,paw_cmh2o,flow_lps\n", {0}, TM_ERR_INPUT, "no row of samples", ""},
        {"comments only", "# a\n# b\n", {0}, TM_ERR_INPUT, "no row of samples", ""},
        {"one row", "t_s,paw_cmh2o,flow_lps\n0,1,2\n", {0}, TM_ERR_INPUT, "no rate can be found", ""},
        {"UTF-16", "\xFF\xFEt", {0}, TM_ERR_INPUT, "UTF-16", "UTF-8"},
    };
    check(table, N(table));
}

static void columns(void **state)
{
    (void)state;
    static const struct refusal table[] = {
        {"no pressure", "t_s,flow_lps,x\n" ROWS3, {0}, TM_ERR_INPUT, "no column of pressure is recognised among 1: t_s, 2: flow_lps", "--columns pressure="},
        {"no flow", "t_s,paw_cmh2o,x\n" ROWS3, {0}, TM_ERR_INPUT, "no column of flow", "--columns flow="},
        {"no time", "x,paw_cmh2o,flow_lps\n" ROWS3, {0}, TM_ERR_INPUT, "no column of time", "--rate"},
        {"numbers alone", ROWS3, {0}, TM_ERR_INPUT, "the first row is 1: 0.00, 2: 12.3, 3: 0.5", "--columns time=1,pressure=2,flow=3"},
        {"two flows", "t_s,paw_cmh2o,flow_lps,flow_lpm\n0,1,2,3\n0.01,1,2,3\n", {0}, TM_ERR_INPUT, "could both be the flow", "NUMBER"},
        {"half of two flows", "t_s,paw_cmh2o,flow_in_lps\n" ROWS3, {0}, TM_ERR_INPUT, "only one has a column", "flow_out="},
        {"a name that is not there", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.columns = "flow=quack"}, TM_ERR_INPUT, "there is no column 'quack'", "3: flow_lps"},
        {"a number too high", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.columns = "flow=4"}, TM_ERR_INPUT, "there is no column '4'", "3: flow_lps"},
        {"a heading twice", "t_s,a,a\n" ROWS3, {.columns = "flow=a"}, TM_ERR_INPUT, "more than one column 'a'", ""},
        {"no signal", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.columns = "wind=3"}, TM_ERR_USAGE, "'wind=3' names no signal", "flow_in"},
        {"no entry", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.columns = "flow"}, TM_ERR_USAGE, "not name=column", ""},
        {"a signal twice", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.columns = "flow=3,flow=2"}, TM_ERR_USAGE, "flow twice", ""},
        {"a column twice", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.columns = "flow=2,pressure=2"}, TM_ERR_USAGE, "column 2 is given twice", ""},
        {"time for a flow", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.columns = "time=1,flow=1"}, TM_ERR_USAGE, "column 1 is given twice", ""},
        {"names shifted against rows", "t_s,paw_cmh2o,flow_lps\n1,0.00,12.3,0.5\n2,0.01,12.4,0.5\n", {0}, TM_ERR_INPUT, "3 names but the rows have 4 fields", "by number"},
        {"a heading behind the rows", "t_s,paw_cmh2o,x,flow_lps\n" ROWS3, {.columns = "flow=flow_lps"}, TM_ERR_INPUT, "4 names but the rows have 3 fields", "by number"},
        {"invert", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.invert = "time"}, TM_ERR_USAGE, "can't be inverted", "flow,pressure"},
    };
    check(table, N(table));
}

static void units(void **state)
{
    (void)state;
    static const struct refusal table[] = {
        {"flow without unit", "t_s,paw_cmh2o,flow\n0.00,12,30\n0.01,12,-60\n0.02,12,6\n", {0}, TM_ERR_INPUT,
         "30, -60, 6 if L/s; 0.5, -1, 0.1 if L/min; 0.03, -0.06, 0.006 if mL/s", "--flow-unit L/s, L/min, mL/s or uncalibrated"},
        {"pressure without unit", "t_s,paw,flow_lps\n0.00,20,3\n0.01,40,6\n0.02,5,6\n", {0}, TM_ERR_INPUT,
         "20, 40, 5 if cmH2O; 20.4, 40.8, 5.1 if mbar or hPa; 204, 408, 51 if kPa", "--pressure-unit cmH2O, mbar, hPa or kPa"},
        {"unknown unit", "t_s,paw_cmh2o,Flow [furlong/s]\n" ROWS3, {0}, TM_ERR_INPUT, "'furlong/s' is no unit of flow", "--flow-unit"},
        {"a unit of something else", "t_s,Pressure [L/s],flow_lps\n" ROWS3, {0}, TM_ERR_INPUT, "'L/s' is no unit of pressure", "--pressure-unit"},
        {"unknown option", "t_s,paw_cmh2o,flow\n" ROWS3, {.flow_unit = "knots"}, TM_ERR_USAGE, "'knots'", "uncalibrated"},
        {"unknown option", "t_s,paw,flow_lps\n" ROWS3, {.pressure_unit = "bananas"}, TM_ERR_USAGE, "--pressure-unit: 'bananas'", "kPa"},
        {"pressure is never uncalibrated", "t_s,paw,flow_lps\n" ROWS3, {.pressure_unit = "uncalibrated"}, TM_ERR_USAGE, "--pressure-unit", ""},
        {"unknown time unit", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.time_unit = "fortnight"}, TM_ERR_USAGE, "'fortnight'", "ms"},
        {"strange time unit", "Time [h],paw_cmh2o,flow_lps\n" ROWS3, {0}, TM_ERR_INPUT, "unknown unit of time 'h'", "--time-unit"},
        {"two flows in two units", "t_s,paw_cmh2o,flow_in_lps,flow_out_lpm\n0,1,2,3\n0.01,1,2,3\n", {0}, TM_ERR_INPUT, "inspired flow is in L/s, expired flow in L/min", "--flow-unit"},
    };
    check(table, N(table));
}

static void times(void **state)
{
    (void)state;
    static const struct refusal table[] = {
        {"bare time in ms", "time,paw_cmh2o,flow_lps\n0,1,2\n10,1,2\n20,1,2\n", {0}, TM_ERR_INPUT, "0.1 Hz in s, 100 Hz in ms", "--time-unit"},
        {"too slow", "t_s,paw_cmh2o,flow_lps\n0,1,2\n0.1,1,2\n0.2,1,2\n", {0}, TM_ERR_INPUT, "10 samples a second are fewer than 25", ""},
        {"too fast", "t_s,paw_cmh2o,flow_lps\n0,1,2\n0.00025,1,2\n0.0005,1,2\n", {0}, TM_ERR_INPUT, "4000 samples a second are more than 1000; --average 4", "--average"},
        {"averaged too far", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.average = 8}, TM_ERR_INPUT, "12.5 samples", ""},
        {"coarse clock", "time,paw_cmh2o,flow_lps\n12:00:00,1,2\n12:00:00,1,2\n12:00:00,1,2\n12:00:01,1,2\n", {0}, TM_ERR_INPUT, "too coarse: 2 of the first 4 rows", "--rate"},
        {"time stands still", "t_s,paw_cmh2o,flow_lps\n1,1,2\n1,1,2\n1,1,2\n", {0}, TM_ERR_INPUT, "time does not move on", ""},
        {"a rate that is none", "x,paw_cmh2o,flow_lps\n" ROWS3, {.rate_hz = -5}, TM_ERR_USAGE, "--rate", ""},
        {"a rate too slow", "x,paw_cmh2o,flow_lps\n" ROWS3, {.rate_hz = 5}, TM_ERR_INPUT, "fewer than 25", ""},
        {"a start without offset", "t_s,paw_cmh2o,flow_lps\n" ROWS3, {.start = "2026-03-04T22:30:00"}, TM_ERR_USAGE, "--start", "+01:00"},
        {"no time in any row", "t_s,paw_cmh2o,flow_lps\nx,1,2\ny,1,2\n", {0}, TM_ERR_INPUT, "no row of samples can be read", ""},
    };
    check(table, N(table));
}

static void decimal_commas(void **state)
{
    (void)state;
    static const char semicolons[] = "t_s;paw_cmh2o;flow_lps\n0,00;12,3;0,5\n0,01;12,4;0,6\n0,02;12,5;-0,7\n";
    static const struct refusal table[] = {
        {"not asked for", semicolons, {0}, TM_ERR_INPUT, "decimal comma", "--decimal-comma"},
        {"with a comma as delimiter", semicolons, {.decimal_comma = true, .delimiter = ","}, TM_ERR_USAGE, "delimiter can't be a comma", "';'"},
        {"comma by its name", semicolons, {.decimal_comma = true, .delimiter = "comma"}, TM_ERR_USAGE, "delimiter can't be a comma", ""},
        {"a letter for delimiter", ROWS3, {.delimiter = "x"}, TM_ERR_USAGE, "can't be a delimiter", "tab"},
        {"a point for delimiter", ROWS3, {.delimiter = "."}, TM_ERR_USAGE, "can't be a delimiter", ""},
        {"nothing for delimiter", ROWS3, {.delimiter = ""}, TM_ERR_USAGE, "can't be a delimiter", ""},
    };
    check(table, N(table));
}

static void no_text(void **state)
{
    (void)state;
    static char junk[20000], longest[1000000];
    uint32_t seed = 1;
    for (size_t i = 0; i < sizeof junk; i++) {
        seed = seed * 1664525u + 1013904223u;
        junk[i] = (char)(seed >> 24);
    }
    struct reading *r = read_text(junk, sizeof junk, NULL);
    assert_int_equal(r->rc, TM_ERR_INPUT);
    assert_non_null(strstr(r->err.what, "does not look like text"));
    reading_free(r);
    memset(longest, ',', sizeof longest);
    for (size_t i = 400; i < sizeof longest; i += 401) {
        longest[i - 400] = '1';
        longest[i] = '\n';
    }
    r = read_text(longest, sizeof longest, NULL);
    assert_int_equal(r->rc, TM_ERR_INPUT);
    assert_non_null(strstr(r->err.what, "more than 256 fields"));
    reading_free(r);
    memset(longest, '1', sizeof longest);
    r = read_text(longest, sizeof longest, NULL);
    assert_int_equal(r->rc, TM_ERR_INPUT);
    assert_non_null(strstr(r->err.what, "longer than any row"));
    reading_free(r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(empty_files), cmocka_unit_test(columns), cmocka_unit_test(units),
                                       cmocka_unit_test(times), cmocka_unit_test(decimal_commas), cmocka_unit_test(no_text)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
