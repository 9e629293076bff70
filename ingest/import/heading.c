#include "ingest/import/heading.h"

#include "ingest/import/plain.h"

#include <string.h>

static const struct {
    const char *plain;
    enum use use;
} names[] = {
    {"t", USE_TIME},
    {"time", USE_TIME},
    {"times", USE_TIME},
    {"timestamp", USE_TIME},
    {"time_stamp", USE_TIME},
    {"elapsed", USE_TIME},
    {"elapsed_time", USE_TIME},
    {"time_elapsed", USE_TIME},
    {"clock", USE_TIME},
    {"datetime", USE_TIME},
    {"date_time", USE_TIME},
    {"p", (enum use)CH_PAW},
    {"paw", (enum use)CH_PAW},
    {"p_aw", (enum use)CH_PAW},
    {"pao", (enum use)CH_PAW},
    {"p_ao", (enum use)CH_PAW},
    {"pmask", (enum use)CH_PAW},
    {"press", (enum use)CH_PAW},
    {"pressure", (enum use)CH_PAW},
    {"airway_pressure", (enum use)CH_PAW},
    {"pressure_aw", (enum use)CH_PAW},
    {"airway_opening_pressure", (enum use)CH_PAW},
    {"gauge_pressure", (enum use)CH_PAW},
    {"mask_pressure", (enum use)CH_PAW},
    {"mouth_pressure", (enum use)CH_PAW},
    {"proximal_pressure", (enum use)CH_PAW},
    {"circuit_pressure", (enum use)CH_PAW},
    {"q", (enum use)CH_FLOW},
    {"flow", (enum use)CH_FLOW},
    {"vdot", (enum use)CH_FLOW},
    {"v_dot", (enum use)CH_FLOW},
    {"airflow", (enum use)CH_FLOW},
    {"air_flow", (enum use)CH_FLOW},
    {"flow_rate", (enum use)CH_FLOW},
    {"flowrate", (enum use)CH_FLOW},
    {"flow_aw", (enum use)CH_FLOW},
    {"airway_flow", (enum use)CH_FLOW},
    {"mask_flow", (enum use)CH_FLOW},
    {"proximal_flow", (enum use)CH_FLOW},
    {"flow_in", USE_FLOW_IN},
    {"flow_insp", USE_FLOW_IN},
    {"insp_flow", USE_FLOW_IN},
    {"inspired_flow", USE_FLOW_IN},
    {"inspiratory_flow", USE_FLOW_IN},
    {"flow_out", USE_FLOW_OUT},
    {"flow_exp", USE_FLOW_OUT},
    {"exp_flow", USE_FLOW_OUT},
    {"expired_flow", USE_FLOW_OUT},
    {"expiratory_flow", USE_FLOW_OUT},
    {"v", (enum use)CH_VOLUME},
    {"vol", (enum use)CH_VOLUME},
    {"volume", (enum use)CH_VOLUME},
    {"v_tidal", (enum use)CH_VOLUME},
    {"tidal_volume", (enum use)CH_VOLUME},
    {"pes", (enum use)CH_PES},
    {"p_es", (enum use)CH_PES},
    {"poes", (enum use)CH_PES},
    {"esophageal_pressure", (enum use)CH_PES},
    {"oesophageal_pressure", (enum use)CH_PES},
    {"co2", (enum use)CH_CO2},
    {"pco2", (enum use)CH_CO2},
    {"spo2", (enum use)CH_SPO2},
    {"fio2", (enum use)CH_FIO2},
    {"phase", (enum use)CH_PHASE},
};
#define N_NAMES (sizeof names / sizeof names[0])

static const struct {
    const char *name;
    enum use use;
} uses[] = {
    {"time", USE_TIME},         {"pressure", (enum use)CH_PAW}, {"flow", (enum use)CH_FLOW},
    {"flow_in", USE_FLOW_IN},   {"flow_out", USE_FLOW_OUT},     {"volume", (enum use)CH_VOLUME},
    {"pes", (enum use)CH_PES},  {"co2", (enum use)CH_CO2},      {"spo2", (enum use)CH_SPO2},
    {"fio2", (enum use)CH_FIO2}, {"phase", (enum use)CH_PHASE},
};
#define N_USES (sizeof uses / sizeof uses[0])

enum quantity use_quantity(enum use use)
{
    if (use == USE_TIME)
        return Q_TIME;
    if (use == USE_FLOW_OUT || use == USE_FLOW_IN)
        return Q_FLOW;
    return channel_quantity((enum channel)use);
}

const char *use_name(enum use use)
{
    for (size_t i = 0; i < N_USES; i++)
        if (uses[i].use == use)
            return uses[i].name;
    return "nothing";
}

enum use use_find(const char *text, size_t n)
{
    for (size_t i = 0; i < N_USES; i++)
        if (heading_same(text, n, uses[i].name, strlen(uses[i].name)))
            return uses[i].use;
    return USE_NONE;
}

const struct unit *heading_unit(const char *text, size_t n, enum use use)
{
    char plain[PLAIN_MAX];
    plain_form(plain, text, n);
    return plain_unit(plain, use_quantity(use));
}

/* Takes a gas condition off the end. */
static const char *take_gas(char *plain)
{
    static const char *const gases[] = {"BTPS", "ATPS", "ATPD", "STPD"};
    static const char *const tails[] = {"_btps", "_atps", "_atpd", "_stpd"};
    size_t n = strlen(plain);
    for (size_t i = 0; i < 4; i++)
        if (n > 5 && strcmp(plain + n - 5, tails[i]) == 0) {
            plain[n - 5] = '\0';
            return gases[i];
        }
    return "";
}

/* What stands in the first brackets, where nothing but a unit is expected. */
static void bracketed(const char *text, size_t n, char out[24])
{
    out[0] = '\0';
    size_t a = 0;
    while (a < n && text[a] != '[' && text[a] != '(')
        a++;
    size_t b = n;
    while (b > a && text[b - 1] != ']' && text[b - 1] != ')')
        b--;
    if (b <= a + 2 || b - a - 2 >= 24)
        return;
    memcpy(out, text + a + 1, b - a - 2);
    out[b - a - 2] = '\0';
}

struct heading heading_read(const char *text, size_t n)
{
    struct heading h = {.use = USE_NONE, .gas = ""};
    char plain[PLAIN_MAX];
    if (plain_form(plain, text, n) == 0)
        return h;
    const char *gas = take_gas(plain);
    char unit_text[24];
    bracketed(text, n, unit_text);
    size_t best = 0;
    for (size_t i = 0; i < N_NAMES; i++) {
        size_t len = strlen(names[i].plain);
        if (len <= best || strncmp(plain, names[i].plain, len) != 0)
            continue;
        const char *rest = plain + len;
        if (*rest != '\0' && *rest != '_')
            continue;
        rest += *rest == '_';
        const struct unit *u = plain_unit(rest, use_quantity(names[i].use));
        bool clock = names[i].use == USE_TIME && plain_clock(rest);
        char strange[PLAIN_MAX] = "";
        if (unit_text[0])
            plain_form(strange, unit_text, strlen(unit_text));
        bool odd = !u && !clock && unit_text[0] && strcmp(strange, rest) == 0;
        if (*rest != '\0' && !u && !clock && !odd)
            continue;
        best = len;
        h = (struct heading){.use = names[i].use, .unit = u, .clock = clock, .gas = gas};
        if (odd)
            memcpy(h.strange, unit_text, sizeof h.strange);
    }
    return h;
}

struct heading heading_of(const char *text, size_t n, enum use use)
{
    struct heading h = {.use = use, .gas = ""};
    char plain[PLAIN_MAX];
    if (plain_form(plain, text, n) == 0)
        return h;
    h.gas = take_gas(plain);
    /* The longest tail that is a unit, so that `ml_s` is not taken for `s`. */
    for (const char *tail = plain; tail && !h.unit && !h.clock;) {
        const char *next = strchr(tail, '_');
        tail = next ? next + 1 : NULL;
        if (tail) {
            h.unit = plain_unit(tail, use_quantity(use));
            h.clock = use == USE_TIME && plain_clock(tail);
        }
    }
    if (!h.unit && !h.clock)
        bracketed(text, n, h.strange);
    return h;
}

static char low(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

bool heading_same(const char *a, size_t na, const char *b, size_t nb)
{
    while (na > 0 && (*a == ' ' || *a == '\t')) {
        a++;
        na--;
    }
    while (na > 0 && (a[na - 1] == ' ' || a[na - 1] == '\t'))
        na--;
    if (na != nb)
        return false;
    for (size_t i = 0; i < na; i++)
        if (low(a[i]) != low(b[i]))
            return false;
    return true;
}
