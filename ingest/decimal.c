#include "ingest/decimal.h"

#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const double decimal_pow10[23] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                  1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* strtod under the "C" locale, whatever locale the program runs in. z is NUL-terminated. */
static double strtod_c(const char *z)
{
    locale_t c = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    locale_t old = c != (locale_t)0 ? uselocale(c) : (locale_t)0;
    double v = strtod(z, NULL);
    if (c != (locale_t)0) {
        (void)uselocale(old);
        freelocale(c);
    }
    return v;
}

const char *decimal_scan_slow(const char *start, const char *end, double *out)
{
    const char *p = start;
    if (p < end && *p == '-')
        p++;
    const char *digits = p;
    while (p < end && is_digit(*p))
        p++;
    if (p == digits)
        return NULL;
    if (p < end && *p == '.') {
        const char *point = ++p;
        while (p < end && is_digit(*p))
            p++;
        if (p == point)
            return NULL;
    }
    size_t n = (size_t)(p - start);
    if (n > DECIMAL_TEXT_MAX)
        return NULL;
    char z[DECIMAL_TEXT_MAX + 1];
    memcpy(z, start, n);
    z[n] = '\0';
    double v = strtod_c(z);
    if (!isfinite(v))
        return NULL;
    *out = v;
    return p;
}

/* What a number of free form is made of; z holds it with '.' as point. */
struct parts {
    uint64_t m;   /* digits as an integer, where there are few enough */
    int digits;   /* significant, leading zeros left out */
    int places;   /* after the point */
    long exponent;
    bool neg;
};

static bool split(const char *z, struct parts *q)
{
    memset(q, 0, sizeof *q);
    q->neg = *z == '-';
    if (*z == '-' || *z == '+')
        z++;
    bool any = false, point = false;
    for (; is_digit(*z) || (*z == '.' && !point); z++) {
        if (*z == '.') {
            point = true;
            continue;
        }
        any = true;
        q->places += point;
        q->digits += q->digits > 0 || *z != '0';
        q->m = q->m * 10 + (uint64_t)(*z - '0');
    }
    if (!any)
        return false;
    if (*z == 'e' || *z == 'E') {
        z++;
        bool minus = *z == '-';
        if (*z == '-' || *z == '+')
            z++;
        if (!is_digit(*z))
            return false;
        for (; is_digit(*z); z++)
            if (q->exponent < 100000)
                q->exponent = q->exponent * 10 + (*z - '0');
        if (minus)
            q->exponent = -q->exponent;
    }
    return *z == '\0';
}

enum decimal_rc decimal_parse(const char *p, size_t n, char point, double *out, int *places)
{
    while (n > 0 && (*p == ' ' || *p == '\t')) {
        p++;
        n--;
    }
    while (n > 0 && (p[n - 1] == ' ' || p[n - 1] == '\t'))
        n--;
    if (n == 0)
        return DECIMAL_EMPTY;
    if (n > DECIMAL_TEXT_MAX)
        return DECIMAL_BAD;
    char z[DECIMAL_TEXT_MAX + 1];
    for (size_t i = 0; i < n; i++) {
        if (p[i] == '\0' || (p[i] == '.' && point != '.'))
            return DECIMAL_BAD;
        z[i] = p[i] == point ? '.' : p[i];
    }
    z[n] = '\0';
    struct parts q;
    if (!split(z, &q))
        return DECIMAL_BAD;
    long shown = q.places - q.exponent;
    double v;
    if (q.digits <= DECIMAL_DIGITS_FAST && shown >= 0 && shown <= 22) {
        v = (double)(int64_t)q.m / decimal_pow10[shown];
        v = q.neg ? -v : v;
    } else {
        v = strtod_c(z);
    }
    if (!isfinite(v))
        return DECIMAL_RANGE;
    *out = v;
    if (places)
        *places = shown < 0 ? 0 : shown > DECIMAL_TEXT_MAX ? DECIMAL_TEXT_MAX : (int)shown;
    return DECIMAL_OK;
}

const char *decimal_scan_u64(const char *p, const char *end, uint64_t *out)
{
    const char *first = p;
    uint64_t v = 0;
    for (; p < end && is_digit(*p); p++) {
        uint64_t d = (uint64_t)(*p - '0');
        if (v > (UINT64_MAX - d) / 10)
            return NULL;
        v = v * 10 + d;
    }
    if (p == first)
        return NULL;
    *out = v;
    return p;
}

const char *decimal_scan_ns(const char *p, const char *end, int64_t *ns)
{
    bool neg = p < end && *p == '-';
    p += neg;
    uint64_t s;
    p = decimal_scan_u64(p, end, &s);
    if (!p || s > (uint64_t)INT64_MAX / 1000000000u - 1)
        return NULL;
    uint64_t frac = 0, unit = 1000000000u;
    if (p < end && *p == '.') {
        const char *point = ++p;
        for (; p < end && is_digit(*p); p++) {
            if (unit == 1)
                return NULL;
            unit /= 10;
            frac += unit * (uint64_t)(*p - '0');
        }
        if (p == point)
            return NULL;
    }
    int64_t v = (int64_t)(s * 1000000000u + frac);
    *ns = neg ? -v : v;
    return p;
}

static const char pairs[] = "00010203040506070809101112131415161718192021222324252627282930313233343536373839"
                            "40414243444546474849505152535455565758596061626364656667686970717273747576777879"
                            "8081828384858687888990919293949596979899";

/* Writes m into the end of a field of 20 characters; returns where it begins. */
static int digits_back(char field[20], uint64_t m)
{
    int i = 20;
    while (m >= 100) {
        size_t two = (size_t)(m % 100) * 2;
        m /= 100;
        field[--i] = pairs[two + 1];
        field[--i] = pairs[two];
    }
    if (m >= 10)
        field[--i] = pairs[m * 2 + 1];
    field[--i] = m >= 10 ? pairs[m * 2] : (char)('0' + m);
    return i;
}

size_t decimal_format_u64(char *buf, uint64_t v)
{
    char field[20];
    int i = digits_back(field, v);
    memcpy(buf, field + i, (size_t)(20 - i));
    return (size_t)(20 - i);
}

/* More digits than an exact integer holds: the C library rounds exactly too. Its decimal point follows the
 * locale, so it is put right. */
static size_t format_slow(char *buf, double v, int places)
{
    int n = snprintf(buf, DECIMAL_BUF, "%.*f", places, v);
    if (n < 0)
        return 0;
    if (n >= DECIMAL_BUF)
        n = DECIMAL_BUF - 1;
    for (int i = 0; i < n; i++)
        if (!is_digit(buf[i]) && buf[i] != '-')
            buf[i] = '.';
    return (size_t)n;
}

size_t decimal_format(char *buf, double v, int places)
{
    double scale = decimal_pow10[places];
    double a = fabs(v);
    double p = a * scale;
    if (!(p < 9007199254740992.0)) /* 2^53 */
        return format_slow(buf, v, places);
    uint64_t m = (uint64_t)p;
    double frac = p - (double)m; /* exact */
    /* Only where the product sits on a half can its own rounding error decide. */
    if (frac > 0.5)
        m++;
    else if (frac == 0.5) {
        double rest = fma(a, scale, -p);
        if (rest > 0 || (rest == 0 && (m & 1)))
            m++;
    }
    char field[20];
    int i = digits_back(field, m);
    char *w = buf;
    if (signbit(v) && (m != 0 || v == 0))
        *w++ = '-';
    int whole = 20 - i - places;
    if (whole <= 0) {
        *w++ = '0';
        if (places > 0)
            *w++ = '.';
        for (; whole < 0; whole++)
            *w++ = '0';
        for (; i < 20; i++)
            *w++ = field[i];
        return (size_t)(w - buf);
    }
    for (; whole > 0; whole--)
        *w++ = field[i++];
    if (places > 0)
        *w++ = '.';
    for (; i < 20; i++)
        *w++ = field[i];
    return (size_t)(w - buf);
}

size_t decimal_format_ns(char *buf, int64_t ns)
{
    char *w = buf;
    uint64_t a = ns < 0 ? (uint64_t)0 - (uint64_t)ns : (uint64_t)ns;
    if (ns < 0)
        *w++ = '-';
    w += decimal_format_u64(w, a / 1000000000u);
    uint64_t frac = a % 1000000000u;
    int places = frac % 1000000u == 0 ? 3 : frac % 1000u == 0 ? 6 : 9;
    *w++ = '.';
    for (int k = 9; k > places; k--)
        frac /= 10;
    for (int k = places; k-- > 0;) {
        w[k] = (char)('0' + frac % 10);
        frac /= 10;
    }
    return (size_t)(w + places - buf);
}
