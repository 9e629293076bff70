/* Headings that say what they are, and those that don't. Spellings: common practice, no source; UCUM codes: UCUM. */
#include "ingest/import/heading.h"
#include "ingest/import/plain.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#define N(a) (sizeof(a) / sizeof(a)[0])

struct known {
    const char *text;
    enum use use;
    const char *unit; /* NULL: none */
};

static void known_headings(void **state)
{
    (void)state;
    static const struct known table[] = {
        {"t_s", USE_TIME, "s"},
        {"Time [s]", USE_TIME, "s"},
        {"TIME (ms)", USE_TIME, "ms"},
        {"time_ms", USE_TIME, "ms"},
        {"elapsed time (sec)", USE_TIME, "s"},
        {"timestamp [\xC2\xB5s]", USE_TIME, "us"},
        {"time", USE_TIME, NULL},
        {"paw_cmh2o", (enum use)CH_PAW, "cm[H2O]"},
        {"Pressure [cmH2O]", (enum use)CH_PAW, "cm[H2O]"},
        {"Gauge Pressure [cmH2O]", (enum use)CH_PAW, "cm[H2O]"},
        {"Paw (cmH\xE2\x82\x82O)", (enum use)CH_PAW, "cm[H2O]"},
        {"Paw [cm[H2O]]", (enum use)CH_PAW, "cm[H2O]"},
        {"paw_mbar", (enum use)CH_PAW, "mbar"},
        {"Paw(hPa)", (enum use)CH_PAW, "hPa"},
        {"airway-pressure / kPa", (enum use)CH_PAW, "kPa"},
        {"P_AW [mmHg]", (enum use)CH_PAW, "mm[Hg]"},
        {"pressure", (enum use)CH_PAW, NULL},
        {"flow_l_s", (enum use)CH_FLOW, "L/s"},
        {"flow_lps", (enum use)CH_FLOW, "L/s"},
        {"Flow [L/s]", (enum use)CH_FLOW, "L/s"},
        {"Flow [L/min]", (enum use)CH_FLOW, "L/min"},
        {"flow_lpm", (enum use)CH_FLOW, "L/min"},
        {"FLOW (L min-1)", (enum use)CH_FLOW, "L/min"},
        {"Flow (L\xC2\xB7min\xE2\x81\xBB\xC2\xB9)", (enum use)CH_FLOW, "L/min"},
        {"flow (mL/s)", (enum use)CH_FLOW, "mL/s"},
        {"airway flow, L/s", (enum use)CH_FLOW, "L/s"},
        {"flow", (enum use)CH_FLOW, NULL},
        {"flow_in_lps", USE_FLOW_IN, "L/s"},
        {"Expiratory flow [L/min]", USE_FLOW_OUT, "L/min"},
        {"V_tidal [L]", (enum use)CH_VOLUME, "L"},
        {"volume_ml", (enum use)CH_VOLUME, "mL"},
        {"pes [cmH2O]", (enum use)CH_PES, "cm[H2O]"},
        {"co2_mmhg", (enum use)CH_CO2, "mm[Hg]"},
        {"SpO2 [%]", (enum use)CH_SPO2, "%"},
        {"fio2_pct", (enum use)CH_FIO2, "%"},
        {"phase", (enum use)CH_PHASE, NULL},
    };
    for (size_t i = 0; i < N(table); i++) {
        struct heading h = heading_read(table[i].text, strlen(table[i].text));
        if (h.use != table[i].use || (h.unit == NULL) != (table[i].unit == NULL) ||
            (h.unit && strcmp(h.unit->ucum, table[i].unit) != 0))
            fail_msg("%s: use %d, unit %s", table[i].text, (int)h.use, h.unit ? h.unit->ucum : "none");
    }
}

static void unknown_headings(void **state)
{
    (void)state;
    static const char *const table[] = {"",
                                        "Inspiratory differential pressure [cmH2O]",
                                        "Inspiratory Indicies",
                                        "Weight [kg]",
                                        "pressure_set",
                                        "flow_filtered",
                                        "temperature",
                                        "peep",
                                        "flow_l",
                                        "tim"};
    for (size_t i = 0; i < N(table); i++)
        if (heading_read(table[i], strlen(table[i])).use != USE_NONE)
            fail_msg("%s is taken for something", table[i]);
    char longest[400];
    memset(longest, 'x', sizeof longest);
    assert_int_equal(heading_read(longest, sizeof longest).use, USE_NONE);
}

static void strange_units(void **state)
{
    (void)state;
    struct heading h = heading_read("Flow [furlong/s]", 16);
    assert_int_equal(h.use, CH_FLOW);
    assert_null(h.unit);
    assert_string_equal(h.strange, "furlong/s");
    h = heading_read("Pressure [L/s]", 14); /* a unit, of something else */
    assert_null(h.unit);
    assert_string_equal(h.strange, "L/s");
    h = heading_of("Inspiratory differential pressure [cmH2O]", 41, (enum use)CH_FLOW);
    assert_null(h.unit);
    assert_string_equal(h.strange, "cmH2O");
}

static void units_of_other_names(void **state)
{
    (void)state;
    static const struct known table[] = {
        {"Qaw_lps", (enum use)CH_FLOW, "L/s"}, {"channel 3 ml_s", (enum use)CH_FLOW, "mL/s"},
        {"sensor_hpa", (enum use)CH_PAW, "hPa"}, {"ticks_ms", USE_TIME, "ms"},
        {"sensor", (enum use)CH_PAW, NULL},
    };
    for (size_t i = 0; i < N(table); i++) {
        struct heading h = heading_of(table[i].text, strlen(table[i].text), table[i].use);
        if ((h.unit == NULL) != (table[i].unit == NULL) || (h.unit && strcmp(h.unit->ucum, table[i].unit) != 0))
            fail_msg("%s: unit %s", table[i].text, h.unit ? h.unit->ucum : "none");
    }
}

static void gas_conditions(void **state)
{
    (void)state;
    struct heading h = heading_read("flow_lps_btps", 13);
    assert_int_equal(h.use, CH_FLOW);
    assert_string_equal(h.gas, "BTPS");
    assert_string_equal(h.unit->ucum, "L/s");
    assert_string_equal(heading_read("Flow [L/min] ATPD", 17).gas, "ATPD");
    assert_string_equal(heading_read("Flow [L/min]", 12).gas, "");
}

static void clocks(void **state)
{
    (void)state;
    assert_true(heading_read("Time [hh:mm:ss]", 15).clock);
    assert_true(plain_is_unit("hh:mm:ss.fff", 12));
    assert_false(heading_read("Time [s]", 8).clock);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(known_headings),       cmocka_unit_test(unknown_headings), cmocka_unit_test(strange_units),
        cmocka_unit_test(units_of_other_names), cmocka_unit_test(gas_conditions),   cmocka_unit_test(clocks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
