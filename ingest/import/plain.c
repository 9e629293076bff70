#include "ingest/import/plain.h"

#include <string.h>

/* Plain forms of units, where they differ from the UCUM code in lower case. */
static const struct {
    const char *plain;
    const char *ucum;
} spellings[] = {
    {"cmh2o", "cm[H2O]"},   {"cm_h2o", "cm[H2O]"},    {"cmh20", "cm[H2O]"},    {"millibar", "mbar"},
    {"mbar", "mbar"},       {"hpa", "hPa"},           {"kpa", "kPa"},          {"pa", "Pa"},
    {"mmhg", "mm[Hg]"},     {"mm_hg", "mm[Hg]"},      {"l_s", "L/s"},
    {"lps", "L/s"},         {"l_sec", "L/s"},         {"l_s_1", "L/s"},        {"ls_1", "L/s"},
    {"liters_s", "L/s"},    {"litres_s", "L/s"},      {"liter_s", "L/s"},      {"litre_s", "L/s"},
    {"l_min", "L/min"},     {"lpm", "L/min"},         {"l_min_1", "L/min"},    {"lmin_1", "L/min"},
    {"liters_min", "L/min"}, {"litres_min", "L/min"}, {"liter_min", "L/min"},  {"litre_min", "L/min"},
    {"l_per_min", "L/min"}, {"l_per_s", "L/s"},       {"ml_per_s", "mL/s"},    {"ml_s", "mL/s"},
    {"mlps", "mL/s"},       {"ml_sec", "mL/s"},       {"ml_s_1", "mL/s"},      {"mls_1", "mL/s"},
    {"ml_min", "mL/min"},   {"ml_min_1", "mL/min"},   {"l", "L"},              {"liter", "L"},
    {"litre", "L"},         {"liters", "L"},          {"litres", "L"},         {"ml", "mL"},
    {"milliliters", "mL"},  {"millilitres", "mL"},    {"pct", "%"},            {"percent", "%"},
    {"fraction", "1"},      {"frac", "1"},            {"s", "s"},              {"sec", "s"},
    {"secs", "s"},          {"second", "s"},          {"seconds", "s"},        {"ms", "ms"},
    {"msec", "ms"},         {"millisecond", "ms"},    {"milliseconds", "ms"},  {"us", "us"},
    {"usec", "us"},         {"microsecond", "us"},    {"microseconds", "us"},  {"1", "1"},
};
#define N_SPELLINGS (sizeof spellings / sizeof spellings[0])

static const char *const clocks[] = {"hh_mm_ss", "h_m_s", "hh_mm_ss_fff", "hh_mm_ss_sss", "hms", "iso", "iso8601", "iso_8601", "rfc3339", "rfc_3339", "clock", "utc"};
#define N_CLOCKS (sizeof clocks / sizeof clocks[0])

/* Signs beyond ASCII that units are written with, as UTF-8 (and µ, ·, ⁻, ² as the old one-byte sets have them). */
static const struct {
    const char *utf8;
    const char *plain;
} signs[] = {
    {"\xE2\x82\x82", "2"},   /* subscript two */
    {"\xC2\xB9", "1"},       /* superscript one */
    {"\xE2\x81\xBB", "-"},   /* superscript minus */
    {"\xE2\x88\x92", "-"},   /* minus */
    {"\xC2\xB7", "_"},       /* middle dot */
    {"\xE2\x8B\x85", "_"},   /* dot operator */
    {"\xC2\xB5", "u"},       /* micro */
    {"\xCE\xBC", "u"},       /* small mu */
    {"\xC2\xA0", "_"},       /* no-break space */
    {"%", "_pct_"},
};
#define N_SIGNS (sizeof signs / sizeof signs[0])

static const char *sign_at(const char *p, size_t n, size_t *used)
{
    for (size_t i = 0; i < N_SIGNS; i++) {
        *used = strlen(signs[i].utf8);
        if (*used <= n && memcmp(p, signs[i].utf8, *used) == 0)
            return signs[i].plain;
    }
    return NULL;
}

static bool put(char out[PLAIN_MAX], size_t *len, char c)
{
    if (c >= 'A' && c <= 'Z')
        c = (char)(c - 'A' + 'a');
    bool kept = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || (unsigned char)c >= 0x80;
    if (!kept) {
        if (*len == 0 || out[*len - 1] == '_')
            return true;
        c = '_';
    }
    if (*len + 1 >= PLAIN_MAX)
        return false;
    out[(*len)++] = c;
    return true;
}

size_t plain_form(char out[PLAIN_MAX], const char *text, size_t n)
{
    size_t len = 0;
    for (size_t i = 0; i < n; i++) {
        size_t used;
        const char *s = sign_at(text + i, n - i, &used);
        bool fits = true;
        if (s) {
            for (; *s && fits; s++)
                fits = put(out, &len, *s);
            i += used - 1;
        } else {
            fits = put(out, &len, text[i]);
        }
        if (!fits) {
            len = 0;
            break;
        }
    }
    if (len > 0 && out[len - 1] == '_')
        len--;
    out[len] = '\0';
    return len;
}

const struct unit *plain_unit(const char *plain, enum quantity q)
{
    for (size_t i = 0; i < N_SPELLINGS; i++) {
        if (strcmp(plain, spellings[i].plain) != 0)
            continue;
        const struct unit *u = unit_find_ucum(spellings[i].ucum, strlen(spellings[i].ucum), q);
        if (u)
            return u;
    }
    return NULL;
}

bool plain_clock(const char *plain)
{
    for (size_t i = 0; i < N_CLOCKS; i++)
        if (strcmp(plain, clocks[i]) == 0)
            return true;
    return false;
}

bool plain_is_unit(const char *text, size_t n)
{
    char plain[PLAIN_MAX];
    plain_form(plain, text, n);
    if (plain_clock(plain))
        return true;
    for (int q = 0; q < Q_N; q++)
        if (plain_unit(plain, (enum quantity)q))
            return true;
    return false;
}

