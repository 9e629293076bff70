#include "ingest/import/lead_stamp.h"

#include "ingest/decimal.h"
#include "ingest/rfc3339.h"
#include "ingest/sample.h"

#include <string.h>

#define SECONDS_MAX 4000000000LL /* more than a century; int64 nanoseconds hold 292 years */

static bool digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Plain decimal in units of 10^places ns; what is finer than 1 ns is rounded to it. */
static bool plain_number(const char *p, size_t n, int places, char point, int64_t *ns)
{
    const char *end = p + n;
    bool neg = p < end && *p == '-';
    p += p < end && (*p == '-' || *p == '+');
    int64_t whole = 0, part = 0, limit = SECONDS_MAX * 1000000;
    const char *first = p;
    while (p < end && digit(*p)) {
        if (whole > limit)
            return false;
        whole = whole * 10 + (*p++ - '0');
    }
    bool any = p > first;
    int got = 0;
    bool up = false;
    if (p < end && *p == point) {
        for (p++; p < end && digit(*p); p++) {
            any = true;
            if (got < places) {
                part = part * 10 + (*p - '0');
                got++;
            } else if (got == places) {
                up = *p >= '5';
                got++;
            }
        }
    }
    if (!any || p != end)
        return false;
    int64_t scale = 1;
    for (int i = 0; i < places; i++)
        scale *= 10;
    for (int i = got; i < places; i++)
        part *= 10;
    if (whole > SECONDS_MAX * NS_PER_S / scale)
        return false;
    int64_t v = whole * scale + part + up;
    *ns = neg ? -v : v;
    return true;
}

static bool number(const char *p, size_t n, int places, char point, int64_t *ns)
{
    double v;
    if (plain_number(p, n, places, point, ns))
        return true;
    if (decimal_parse(p, n, point, &v, NULL) != DECIMAL_OK) /* an exponent, or nothing at all */
        return false;
    double scaled = v * decimal_pow10[places];
    if (!(scaled > -4e18 && scaled < 4e18))
        return false;
    *ns = (int64_t)(scaled + (scaled < 0 ? -0.5 : 0.5));
    return true;
}

/* HH:MM[:SS[.fff]] */
static bool clock_time(const char *p, size_t n, char point, int64_t *ns)
{
    int64_t part[2] = {0, 0};
    size_t i = 0;
    for (int k = 0; k < 2; k++) {
        size_t from = i;
        while (i < n && digit(p[i]) && i < from + 2)
            part[k] = part[k] * 10 + (p[i++] - '0');
        if (i == from || (k == 0 && (i >= n || p[i++] != ':')))
            return false;
    }
    int64_t seconds = 0;
    if (i < n) {
        if (p[i++] != ':' || !(i < n) || !digit(p[i]) ||
            (!plain_number(p + i, n - i, 9, '.', &seconds) && !plain_number(p + i, n - i, 9, point, &seconds)))
            return false;
    }
    if (part[0] > 23 || part[1] > 59 || seconds >= 61 * NS_PER_S)
        return false;
    *ns = (part[0] * 3600 + part[1] * 60) * NS_PER_S + seconds;
    return true;
}

bool stamp_read(const char *p, size_t n, enum stamp_kind kind, char point, int64_t *ns, bool *dated,
                int *offset_min, bool *offset_known)
{
    *dated = *offset_known = false;
    switch (kind) {
    case STAMP_SECONDS:
        return number(p, n, 9, point, ns);
    case STAMP_MILLI:
        return number(p, n, 6, point, ns);
    case STAMP_MICRO:
        return number(p, n, 3, point, ns);
    case STAMP_CLOCK:
        break;
    }
    if (clock_time(p, n, point, ns))
        return true;
    *dated = true;
    if (rfc3339_parse(p, n, ns, offset_min)) {
        *offset_known = true;
        return true;
    }
    char text[48];
    if (n + 2 > sizeof text)
        return false;
    memcpy(text, p, n);
    text[n] = 'Z';
    *offset_min = 0;
    return rfc3339_parse(text, n + 1, ns, offset_min);
}
