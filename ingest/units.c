#include "ingest/units.h"

#include <string.h>

static const struct unit units[] = {
    {"cm[H2O]", Q_PRESSURE, 1.0, false},
    {"mbar", Q_PRESSURE, 1.0 / 0.980665, false},
    {"hPa", Q_PRESSURE, 1.0 / 0.980665, false},
    {"kPa", Q_PRESSURE, 1.0 / 0.0980665, false},
    {"Pa", Q_PRESSURE, 1.0 / 98.0665, false},
    {"mm[Hg]", Q_PRESSURE, 1.35951, false},
    {"L/s", Q_FLOW, 1.0, false},
    {"L/min", Q_FLOW, 1.0 / 60.0, false},
    {"mL/s", Q_FLOW, 0.001, false},
    {"mL/min", Q_FLOW, 1.0 / 60000.0, false},
    {"[arb'U]", Q_FLOW, 1.0, true},
    {"L", Q_VOLUME, 1.0, false},
    {"mL", Q_VOLUME, 0.001, false},
    {"mm[Hg]", Q_PARTIAL, 1.0, false},
    {"kPa", Q_PARTIAL, 1000.0 / 133.322387415, false},
    {"hPa", Q_PARTIAL, 100.0 / 133.322387415, false},
    {"mbar", Q_PARTIAL, 100.0 / 133.322387415, false},
    {"cm[H2O]", Q_PARTIAL, 1.0 / 1.35951, false},
    {"1", Q_FRACTION, 1.0, false},
    {"%", Q_FRACTION, 0.01, false},
    {"1", Q_NUMBER, 1.0, false},
    {"s", Q_TIME, 1.0, false},
    {"ms", Q_TIME, 0.001, false},
    {"us", Q_TIME, 0.000001, false},
};
#define N_UNITS (sizeof units / sizeof units[0])

/* Customary spellings, in lower case; a name may stand for several quantities. UCUM knows the litre as l and
 * L, so that `l/s` is a code as well, and is kept as L/s. */
static const struct {
    const char *text;
    const char *ucum;
} customary[] = {
    {"cmh2o", "cm[H2O]"},     {"cm_h2o", "cm[H2O]"},     {"cm h2o", "cm[H2O]"},
    {"cm[h2o]", "cm[H2O]"},   {"mbar", "mbar"},          {"millibar", "mbar"},
    {"hpa", "hPa"},           {"kpa", "kPa"},            {"pa", "Pa"},
    {"mmhg", "mm[Hg]"},       {"mm hg", "mm[Hg]"},       {"mm[hg]", "mm[Hg]"},
    {"l/s", "L/s"},           {"l/sec", "L/s"},          {"lps", "L/s"},
    {"l_s", "L/s"},           {"l s-1", "L/s"},          {"l.s-1", "L/s"},
    {"l/min", "L/min"},       {"lpm", "L/min"},          {"l_min", "L/min"},
    {"l min-1", "L/min"},     {"l.min-1", "L/min"},      {"ml/s", "mL/s"},
    {"ml/sec", "mL/s"},       {"mlps", "mL/s"},          {"ml_s", "mL/s"},
    {"ml/min", "mL/min"},     {"ml_min", "mL/min"},      {"uncalibrated", "[arb'U]"},
    {"l", "L"},               {"litre", "L"},            {"liter", "L"},
    {"litres", "L"},          {"liters", "L"},           {"ml", "mL"},
    {"percent", "%"},         {"pct", "%"},              {"sec", "s"},
    {"second", "s"},          {"seconds", "s"},          {"msec", "ms"},
    {"millisecond", "ms"},    {"milliseconds", "ms"},    {"usec", "us"},
    {"microseconds", "us"},   {"s", "s"},                {"ms", "ms"},
    {"us", "us"},
};
#define N_CUSTOMARY (sizeof customary / sizeof customary[0])

static const struct unit *find_code(const char *text, size_t n, enum quantity q)
{
    for (size_t i = 0; i < N_UNITS; i++)
        if (units[i].quantity == q && strlen(units[i].ucum) == n && memcmp(units[i].ucum, text, n) == 0)
            return &units[i];
    return NULL;
}

static char lower(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

static bool same_case_blind(const char *text, size_t n, const char *low)
{
    for (size_t i = 0; i < n; i++)
        if (low[i] == '\0' || lower(text[i]) != low[i])
            return false;
    return low[n] == '\0';
}

const struct unit *unit_find_ucum(const char *text, size_t n, enum quantity q)
{
    const struct unit *u = find_code(text, n, q);
    if (u || n == 0 || n > 8)
        return u;
    /* Small l is a litre too. */
    char big[8];
    memcpy(big, text, n);
    size_t at = n > 1 && big[0] == 'm' ? 1 : 0;
    if (big[at] != 'l')
        return NULL;
    big[at] = 'L';
    return find_code(big, n, q);
}

const struct unit *unit_find(const char *text, size_t n, enum quantity q)
{
    const struct unit *u = unit_find_ucum(text, n, q);
    for (size_t i = 0; !u && i < N_CUSTOMARY; i++)
        if (same_case_blind(text, n, customary[i].text))
            u = find_code(customary[i].ucum, strlen(customary[i].ucum), q);
    return u;
}

const struct unit *unit_of_quantity(enum quantity q, size_t k)
{
    for (size_t i = 0; i < N_UNITS; i++)
        if (units[i].quantity == q && k-- == 0)
            return &units[i];
    return NULL;
}

static const struct {
    const char *name;
    enum quantity quantity;
} channels[CH_N] = {
    [CH_PAW] = {"paw", Q_PRESSURE},     [CH_FLOW] = {"flow", Q_FLOW},     [CH_VOLUME] = {"volume", Q_VOLUME},
    [CH_PES] = {"pes", Q_PRESSURE},     [CH_CO2] = {"co2", Q_PARTIAL},    [CH_SPO2] = {"spo2", Q_FRACTION},
    [CH_FIO2] = {"fio2", Q_FRACTION},   [CH_PHASE] = {"phase", Q_NUMBER},
};

enum quantity channel_quantity(enum channel c)
{
    return channels[c].quantity;
}

const char *channel_name(enum channel c)
{
    return channels[c].name;
}

enum channel channel_find(const char *text, size_t n)
{
    for (int c = 0; c < CH_N; c++)
        if (strlen(channels[c].name) == n && memcmp(channels[c].name, text, n) == 0)
            return (enum channel)c;
    return CH_N;
}
