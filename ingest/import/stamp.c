#include "ingest/import/stamp.h"

#include "ingest/rfc3339.h"
#include "ingest/sample.h"

#include <string.h>

#define NS_MAX INT64_C(9000000000000000000)

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

int stamp_unit_places(enum stamp_kind kind)
{
    return kind == STAMP_MS ? 3 : kind == STAMP_US ? 6 : 0;
}

/* m * 10^e, rounded to an integer, halves away from zero. Digits left out behind a long m can't change it: they
 * would lift what is at least half already, or stay below it. */
static bool scaled(uint64_t m, long e, int64_t *out)
{
    for (; e > 0 && m != 0; e--) {
        if (m > (uint64_t)NS_MAX / 10)
            return false;
        m *= 10;
    }
    uint64_t unit = 1;
    for (; e < 0 && unit < UINT64_C(10000000000000000000); e++)
        unit *= 10;
    if (e < 0) {
        m = 0; /* far below half a nanosecond */
    } else if (unit > 1) {
        uint64_t rest = m % unit;
        m = m / unit + (rest >= unit - rest);
    }
    if (m > (uint64_t)NS_MAX)
        return false;
    *out = (int64_t)m;
    return true;
}

/* [eE][+-]digits, or nothing. */
static bool exponent(const char *p, const char *end, long *x)
{
    *x = 0;
    if (p == end)
        return true;
    if (*p != 'e' && *p != 'E')
        return false;
    p++;
    bool down = p < end && *p == '-';
    p += p < end && (*p == '-' || *p == '+');
    if (p == end)
        return false;
    for (; p < end && is_digit(*p); p++)
        *x = *x < 100000 ? *x * 10 + (*p - '0') : *x;
    *x = down ? -*x : *x;
    return p == end;
}

/* Digits with a point and an exponent, in units of 10^-unit_places s. */
static bool number_ns(const char *p, size_t n, char point, int unit_places, struct stamp *out)
{
    const char *end = p + n;
    bool neg = n > 0 && *p == '-';
    p += n > 0 && (*p == '-' || *p == '+');
    uint64_t m = 0;
    long e = 0, x, places = 0;
    bool any = false, behind = false;
    for (; p < end && (is_digit(*p) || (*p == point && !behind)); p++) {
        if (*p == point) {
            behind = true;
            continue;
        }
        any = true;
        places += behind;
        if (m < UINT64_C(1000000000000000000)) {
            m = m * 10 + (uint64_t)(*p - '0');
            e -= behind;
        } else {
            e += !behind;
        }
    }
    if (!any || !exponent(p, end, &x) || !scaled(m, e + x + 9 - unit_places, &out->ns))
        return false;
    out->ns = neg ? -out->ns : out->ns;
    places += unit_places - x;
    out->places = places < 0 ? 0 : places > 9 ? 9 : (int)places;
    return true;
}

static const char *two_digits(const char *p, const char *end, int *out)
{
    if (end - p < 2 || !is_digit(p[0]) || !is_digit(p[1]))
        return NULL;
    *out = (p[0] - '0') * 10 + (p[1] - '0');
    return p + 2;
}

/* Decimals of a second: point and digits. */
static bool fraction(const char *p, const char *end, char point, struct stamp *out)
{
    if (p == end)
        return true;
    if (*p != '.' && *p != point)
        return false;
    for (const char *q = p + 1; q < end; q++)
        if (!is_digit(*q))
            return false;
    return number_ns(p, (size_t)(end - p), *p, 0, out);
}

static bool clock_ns(const char *p, size_t n, char point, struct stamp *out)
{
    const char *first = p, *end = p + n;
    int h = 0, min = 0, s = 0;
    while (p < end && is_digit(*p) && p - first < 2)
        h = h * 10 + (*p++ - '0');
    if (p == first || p == end || *p != ':' || !(p = two_digits(p + 1, end, &min)))
        return false;
    if (p < end && (*p != ':' || !(p = two_digits(p + 1, end, &s))))
        return false;
    if (h > 23 || min > 59 || s > 60 || !fraction(p, end, point, out))
        return false;
    out->ns += ((h * INT64_C(60) + min) * 60 + s) * NS_PER_S;
    return true;
}

static bool date_ns(const char *p, size_t n, struct stamp *out)
{
    char text[64];
    const char *dot = memchr(p, '.', n);
    for (const char *q = dot ? dot + 1 : p + n; q < p + n && is_digit(*q); q++)
        out->places += out->places < 9;
    out->offset_known = rfc3339_parse(p, n, &out->ns, &out->offset_min);
    if (out->offset_known)
        return true;
    if (n + 1 > sizeof text)
        return false;
    memcpy(text, p, n);
    text[n] = 'Z';
    return rfc3339_parse(text, n + 1, &out->ns, NULL);
}

bool stamp_parse(enum stamp_kind kind, const char *p, size_t n, char point, struct stamp *out)
{
    *out = (struct stamp){0};
    switch (kind) {
    case STAMP_NONE:
        return false;
    case STAMP_CLOCK:
        return clock_ns(p, n, point, out);
    case STAMP_DATE:
        return date_ns(p, n, out);
    case STAMP_UNSAID:
    case STAMP_S:
    case STAMP_MS:
    case STAMP_US:
        break;
    }
    return number_ns(p, n, point, stamp_unit_places(kind), out);
}
