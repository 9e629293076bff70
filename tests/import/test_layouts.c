/* The same three samples, written in every way that is accepted, give the same doubles. */
#include "tests/import/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define N(a) (sizeof(a) / sizeof(a)[0])

static const double paw[3] = {12.3, 12.4, 12.5}, flow[3] = {0.5, 0.6, -0.7};

struct layout_case {
    const char *what_is_it;
    const char *text;
    struct import_opts o;
    const char *said; /* code of a notice that must be there; NULL: nothing wrong is said */
};

static void same_samples(const struct layout_case *x)
{
    struct import_opts o = x->o;
    if (o.rate_hz == 0)
        o.rate_hz = (double)NAN;
    struct reading *r = read_text(x->text, strlen(x->text), &o);
    if (r->rc != TM_OK || r->n != 3 || r->end != SRC_END)
        fail_msg("%s: rc %d, %zu samples: %s (%s)", x->what_is_it, r->rc, r->n, r->err.what, r->err.mend);
    for (size_t i = 0; i < 3; i++)
        if (r->t_ns[i] != (int64_t)i * 10000000 || memcmp(&r->v[CH_PAW][i], &paw[i], sizeof paw[i]) != 0 ||
            memcmp(&r->v[CH_FLOW][i], &flow[i], sizeof flow[i]) != 0)
            fail_msg("%s: sample %zu is %lld ns, %.17g, %.17g", x->what_is_it, i, (long long)r->t_ns[i], r->v[CH_PAW][i],
                     r->v[CH_FLOW][i]);
    if (x->said && !reading_said(r, x->said))
        fail_msg("%s: %s is not said", x->what_is_it, x->said);
    for (size_t i = 0; i < r->n_said; i++)
        if (r->said[i].level != NOTICE_NOTE)
            fail_msg("%s: %s: %s", x->what_is_it, r->said[i].code, r->said[i].what);
    reading_free(r);
}

#define ROWS "0.00,12.3,0.5\n0.01,12.4,0.6\n0.02,12.5,-0.7\n"

static void texts(void **state)
{
    (void)state;
    static const struct layout_case table[] = {
        {"plain", "t_s,paw_cmh2o,flow_lps\n" ROWS, {0}, NULL},
        {"no end of last line", "t_s,paw_cmh2o,flow_lps\n0.00,12.3,0.5\n0.01,12.4,0.6\n0.02,12.5,-0.7", {0}, NULL},
        {"CRLF", "t_s,paw_cmh2o,flow_lps\r\n0.00,12.3,0.5\r\n0.01,12.4,0.6\r\n0.02,12.5,-0.7\r\n", {0}, NULL},
        {"CR", "t_s,paw_cmh2o,flow_lps\r0.00,12.3,0.5\r0.01,12.4,0.6\r0.02,12.5,-0.7\r", {0}, NULL},
        {"line ends mixed", "t_s,paw_cmh2o,flow_lps\r0.00,12.3,0.5\n0.01,12.4,0.6\r\n0.02,12.5,-0.7\r", {0}, NULL},
        {"byte-order mark", "\xEF\xBB\xBFt_s,paw_cmh2o,flow_lps\n" ROWS, {0}, NULL},
        {"tabs", "t_s\tpaw_cmh2o\tflow_lps\n0.00\t12.3\t0.5\n0.01\t12.4\t0.6\n0.02\t12.5\t-0.7\n", {0}, NULL},
        {"semicolons", "t_s;paw_cmh2o;flow_lps\n0.00;12.3;0.5\n0.01;12.4;0.6\n0.02;12.5;-0.7\n", {0}, NULL},
        {"spaces", "t_s paw_cmh2o flow_lps\n0.00 12.3 0.5\n0.01 12.4 0.6\n0.02 12.5 -0.7\n", {0}, NULL},
        {"aligned", "   t_s  paw_cmh2o flow_lps\n  0.00     12.3      0.5\n  0.01     12.4      0.6 \n  0.02     12.5     -0.7\n", {0}, NULL},
        {"units in brackets between spaces", "Time [s] Paw [cmH2O] Flow [L/s]\n0.00 12.3 0.5\n0.01 12.4 0.6\n0.02 12.5 -0.7\n", {0}, NULL},
        {"bars, asked for", "t_s|paw_cmh2o|flow_lps\n0.00|12.3|0.5\n0.01|12.4|0.6\n0.02|12.5|-0.7\n", {.delimiter = "|"}, NULL},
        {"tab by its name", "t_s\tpaw_cmh2o\tflow_lps\n0.00\t12.3\t0.5\n0.01\t12.4\t0.6\n0.02\t12.5\t-0.7\n", {.delimiter = "tab"}, NULL},
        {"spaces behind commas", "t_s, paw_cmh2o, flow_lps\n0.00, 12.3, 0.5\n0.01, 12.4, 0.6\n0.02, 12.5, -0.7\n", {0}, NULL},
        {"decimal comma", "t_s;paw_cmh2o;flow_lps\n0,00;12,3;0,5\n0,01;12,4;0,6\n0,02;12,5;-0,7\n", {.decimal_comma = true}, NULL},
        {"decimal comma between spaces", "t_s paw_cmh2o flow_lps\n0,00 12,3 0,5\n0,01 12,4 0,6\n0,02 12,5 -0,7\n", {.decimal_comma = true}, NULL},
        {"quotes", "\"t_s\",\"paw_cmh2o\",\"flow_lps\"\n\"0.00\",\"12.3\",\"0.5\"\n\"0.01\",12.4,0.6\n0.02,\"12.5\",-0.7\n", {0}, NULL},
        {"line end in quotes", "t_s,paw_cmh2o,flow_lps,note\n0.00,12.3,0.5,\"a\nb\"\n0.01,12.4,0.6,\"c, \"\"d\"\"\"\n0.02,12.5,-0.7,e\n", {0}, NULL},
        {"comments and blank lines", "# made up\n\nt_s,paw_cmh2o,flow_lps\n% x\n0.00,12.3,0.5\n\n#y\n0.01,12.4,0.6\n0.02,12.5,-0.7\n", {0}, NULL},
        {"header in a comment", "# t_s,paw_cmh2o,flow_lps\n" ROWS, {0}, NULL},
        {"lines before the header", "A recording\nmade up,for a test\nt_s,paw_cmh2o,flow_lps\n" ROWS, {0}, "passed_over"},
        {"row of units", "time,pressure,flow\ns,cmH2O,L/s\n" ROWS, {0}, NULL},
        {"row of units in brackets", "time,pressure,flow\n[s],[cmH2O],[L/s]\n" ROWS, {0}, NULL},
        {"delimiter at the end of rows", "t_s,paw_cmh2o,flow_lps\n0.00,12.3,0.5,\n0.01,12.4,0.6,\n0.02,12.5,-0.7,\n", {0}, NULL},
        {"delimiter at the end of all", "t_s,paw_cmh2o,flow_lps,\n0.00,12.3,0.5,\n0.01,12.4,0.6,\n0.02,12.5,-0.7,\n", {0}, NULL},
        {"other columns, other order", "note,flow_lps,x,paw_cmh2o,t_s,y\na,0.5,1,12.3,0.00,2\nb,0.6,1,12.4,0.01,2\nc,-0.7,1,12.5,0.02,2\n", {0}, NULL},
        {"exponents", "t_s,paw_cmh2o,flow_lps\n0e0,1.23e1,5e-1\n1.0E-2,1.24e+1,6.000e-01\n0.00002e3,125e-1,-7e-1\n", {0}, NULL},
        {"signs and bare points", "t_s,paw_cmh2o,flow_lps\n+0.,+12.3,.5\n.01,12.4,+.6\n.02,12.50000000000000000000,-.7\n", {0}, NULL},
    };
    for (size_t i = 0; i < N(table); i++)
        same_samples(&table[i]);
}

static void mapped(void **state)
{
    (void)state;
    static const struct layout_case table[] = {
        {"by number without header", ROWS, {.columns = "time=1,pressure=2,flow=3", .time_unit = "s", .pressure_unit = "cmH2O", .flow_unit = "L/s"}, NULL},
        {"header said not to be there", ROWS, {.columns = "time=1,pressure=2,flow=3", .pressure_unit = "cmH2O", .flow_unit = "L/s", .header = -1}, NULL},
        {"by name, case-blind, with spaces", "Clock t_s,P one cmH2O,Q two lps\n" ROWS, {.columns = "time=clock T_S,pressure=p ONE cmh2o,flow=q two LPS"}, NULL},
        {"a name with a comma", "t_s;P, mean [cmH2O];Q [L/s]\n0.00;12.3;0.5\n0.01;12.4;0.6\n0.02;12.5;-0.7\n", {.columns = "pressure=P, mean [cmH2O],flow=Q [L/s]"}, NULL},
        {"some by name, the rest by heading", "t_s,paw_cmh2o,channel 2\n" ROWS, {.columns = "flow=3", .flow_unit = "L/s"}, NULL},
        {"a name that is a number", "t_s,paw_cmh2o,2\n" ROWS, {.columns = "flow=2", .flow_unit = "L/s"}, NULL},
        {"units by option", "t_s,paw,flow\n" ROWS, {.pressure_unit = "cmH2O", .flow_unit = "L/s"}, NULL},
        {"option over heading", "t_s,paw_mbar,flow_lps\n" ROWS, {.pressure_unit = "cmH2O"}, "unit_overruled"},
        {"bare time that fits", "time,paw_cmh2o,flow_lps\n" ROWS, {0}, NULL},
        {"milliseconds", "time_ms,paw_cmh2o,flow_lps\n0,12.3,0.5\n10,12.4,0.6\n20.0,12.5,-0.7\n", {0}, NULL},
        {"milliseconds by option", "time,paw_cmh2o,flow_lps\n1000,12.3,0.5\n1010,12.4,0.6\n1020,12.5,-0.7\n", {.time_unit = "ms"}, NULL},
        {"microseconds", "time_us,paw_cmh2o,flow_lps\n0,12.3,0.5\n10000,12.4,0.6\n20000,12.5,-0.7\n", {0}, NULL},
        {"clock", "time,paw_cmh2o,flow_lps\n22:59:59.99,12.3,0.5\n23:00:00,12.4,0.6\n23:00:00.01,12.5,-0.7\n", {0}, NULL},
        {"clock over midnight", "clock,paw_cmh2o,flow_lps\n23:59:59.99,12.3,0.5\n00:00:00.00,12.4,0.6\n00:00:00.01,12.5,-0.7\n", {0}, NULL},
        {"dates", "time,paw_cmh2o,flow_lps\n2026-03-04T22:59:59.99+01:00,12.3,0.5\n2026-03-04T23:00:00+01:00,12.4,0.6\n2026-03-04 22:00:00.01Z,12.5,-0.7\n", {0}, NULL},
        {"dates without offset", "time,paw_cmh2o,flow_lps\n2026-12-31 23:59:59.99,12.3,0.5\n2027-01-01 00:00:00,12.4,0.6\n2027-01-01 00:00:00.01,12.5,-0.7\n", {0}, NULL},
        {"negative times", "t_s,paw_cmh2o,flow_lps\n-0.01,12.3,0.5\n-0.00,12.4,0.6\n0.01,12.5,-0.7\n", {0}, NULL},
        {"no time but a rate", "paw_cmh2o,flow_lps\n12.3,0.5\n12.4,0.6\n12.5,-0.7\n", {.rate_hz = 100}, NULL},
        {"coarse time and a rate", "clock,paw_cmh2o,flow_lps\n12:00:00,12.3,0.5\n12:00:00,12.4,0.6\n12:00:00,12.5,-0.7\n", {.rate_hz = 100}, "rate_wins"},
        {"good time and a rate", "t_s,paw_cmh2o,flow_lps\n" ROWS, {.rate_hz = 50}, "stamps_win"},
        {"both inverted", "t_s,paw_cmh2o,flow_lps\n0.00,-12.3,-0.5\n0.01,-12.4,-0.6\n0.02,-12.5,0.7\n", {.invert = "flow,pressure"}, NULL},
        {"inspired and expired flow", "t_s,paw_cmh2o,flow_in_lps,flow_out_lps\n0.00,12.3,0.7,0.2\n0.01,12.4,0.9,0.3\n0.02,12.5,0,0.7\n", {0}, NULL},
        {"the same by number, inverted", "t_s,paw_cmh2o,a,b\n0.00,12.3,0.2,0.7\n0.01,12.4,0.3,0.9\n0.02,12.5,0.7,0\n", {.columns = "flow_in=3,flow_out=4", .flow_unit = "L/s", .invert = "flow"}, NULL},
    };
    for (size_t i = 0; i < N(table); i++)
        same_samples(&table[i]);
}

static void information(void **state)
{
    (void)state;
    static const char text[] = "time,paw_hpa,Flow [L/min] BTPS,V [mL],spo2_pct,co2\n"
                               "2026-03-04T22:30:00.25+01:00,12.30,30.125,100,97,5\n"
                               "2026-03-04T22:30:00.26+01:00,12.40,30.1,101,98,5\n"
                               "2026-03-04T22:30:00.27+01:00,12.40,30.1,,,5\n";
    struct reading *r = read_text(text, sizeof text - 1, NULL);
    assert_int_equal(r->rc, TM_OK);
    assert_string_equal(r->info.channel[CH_PAW].unit, "hPa");
    assert_int_equal(r->info.channel[CH_PAW].decimals, 2);
    assert_string_equal(r->info.channel[CH_FLOW].unit, "L/min");
    assert_string_equal(r->info.channel[CH_FLOW].gas, "BTPS");
    assert_int_equal(r->info.channel[CH_FLOW].decimals, 3);
    assert_true(r->info.channel[CH_VOLUME].present && r->info.channel[CH_SPO2].present);
    assert_false(r->info.channel[CH_CO2].present); /* names no unit: not read, and said */
    assert_non_null(reading_said(r, "left_out"));
    assert_true(fabs(r->v[CH_SPO2][0] - 0.97) < 1e-15 && fabs(r->v[CH_VOLUME][1] - 0.101) < 1e-15);
    assert_true(isnan(r->v[CH_VOLUME][2]) && isnan(r->v[CH_SPO2][2]));
    assert_true(r->info.regular && r->info.rate_num == 100 && r->info.rate_den == 1);
    assert_int_equal(r->info.gap_limit_ns, 15000000);
    assert_string_equal(r->info.start, "2026-03-04T22:30:00.250000000+01:00");
    assert_int_equal(r->info.start_offset_min, 60);
    reading_free(r);
}

static void uncalibrated(void **state)
{
    (void)state;
    static const char text[] = "t_s,paw_cmh2o,dp [cmH2O]\n0,1,-20000\n0.01,1,2\n0.02,1,3\n";
    struct import_opts o;
    import_opts_defaults(&o);
    o.columns = "flow=3";
    o.flow_unit = "uncalibrated";
    struct reading *r = read_text(text, sizeof text - 1, &o);
    assert_int_equal(r->rc, TM_OK);
    assert_true(r->info.flow_uncalibrated);
    assert_true(r->v[CH_FLOW][0] == -20000 && r->v[CH_FLOW][2] == 3);
    reading_free(r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(texts), cmocka_unit_test(mapped), cmocka_unit_test(information),
                                       cmocka_unit_test(uncalibrated)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
