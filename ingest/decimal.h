/* Decimal text to double and back: fast, exact, without locale.
 *
 * Up to 15 significant digits are read as an integer divided by a power of ten; both are exact doubles and
 * IEEE division rounds once, so the result is the double nearest to the text. Longer numbers and those with
 * an exponent take a slower way to the same answer. */
#ifndef TIDEMARK_INGEST_DECIMAL_H
#define TIDEMARK_INGEST_DECIMAL_H

#include "ingest/notice.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#define DECIMAL_DIGITS_FAST 15 /* any integer of so many digits is an exact double */
#define DECIMAL_TEXT_MAX    800 /* characters of a number; a longer one is refused */
#define DECIMAL_PLACES_MAX  18  /* places that decimal_format writes */
#define DECIMAL_BUF         352 /* room that decimal_format needs: the largest double, sign, point, places */

/* 10^0 .. 10^22, each exact. */
extern const double decimal_pow10[23];

enum decimal_rc {
    DECIMAL_OK,
    DECIMAL_EMPTY, /* nothing, or blanks alone */
    DECIMAL_BAD,   /* not a number (nan and inf are none) */
    DECIMAL_RANGE  /* too large for a double */
};

/* The log's grammar, ["-"] 1*DIGIT ["." 1*DIGIT], at p: returns the first byte after the longest such
 * number, or NULL where there is none or it is longer than DECIMAL_TEXT_MAX. -0 gives -0.0. */
static inline const char *decimal_scan(const char *p, const char *end, double *out);

/* A whole field of delimited text: blanks around are ignored; a sign of either kind, `.5`, `5.` and exponents
 * are taken. point is '.' or ','. *places (may be NULL) is set to the digits after the point that the text
 * shows, less the exponent, at least 0. */
enum decimal_rc decimal_parse(const char *p, size_t n, char point, double *out, int *places);

/* ["-"] 1*DIGIT ["." 1*9DIGIT] seconds to integer nanoseconds; NULL on bad form or overflow. */
const char *decimal_scan_ns(const char *p, const char *end, int64_t *ns);

/* 1*DIGIT; NULL where there is no digit, or on overflow. */
const char *decimal_scan_u64(const char *p, const char *end, uint64_t *out);

/* v (finite) with exactly `places` digits (0..DECIMAL_PLACES_MAX), rounded as the exact binary value asks,
 * ties to even: what printf's %.*f gives, but "0.00" for a small negative that rounds to zero. -0.0 keeps its
 * sign. Returns the length; no NUL is written. buf has DECIMAL_BUF bytes. */
size_t decimal_format(char *buf, double v, int places);

/* Nanoseconds as seconds with 3, 6 or 9 decimals, as few as lose nothing. At most 24 bytes, no NUL. */
size_t decimal_format_ns(char *buf, int64_t ns);

/* At most 20 bytes, no NUL. */
size_t decimal_format_u64(char *buf, uint64_t v);

/* -- the fast way, inline for the readers' inner loops -- */

static inline unsigned decimal_digit(char c)
{
    return (unsigned)(unsigned char)c - '0';
}

/* -v where neg, without a branch: signs of flow are hard to foresee. */
static inline double decimal_signed(double v, bool neg)
{
    uint64_t bits;
    memcpy(&bits, &v, sizeof bits);
    bits ^= (uint64_t)neg << 63;
    memcpy(&v, &bits, sizeof v);
    return v;
}

/* One or two digits, a point, two or three digits, spelt out: what sensors of pressure and flow write. NULL: it is something
 * else, and *out is not written. The double is decimal_scan's times the factor. Reads at most 8
 * bytes from p on; what it returns may still be a digit or a point, which the caller has to refuse. */
static inline const char *decimal_usual(const char *p, double factor, double *out)
{
    const unsigned neg = *p == '-';
    const char *q = p + neg;
    unsigned whole = decimal_digit(q[0]), tens = 0;
    if (q[1] != '.') {
        tens = whole;
        whole = decimal_digit(q[1]);
        q++;
        if (q[1] != '.')
            return NULL;
    }
    const unsigned a = decimal_digit(q[2]), b = decimal_digit(q[3]), c = decimal_digit(q[4]);
    if ((tens > 9) | (whole > 9) | (a > 9) | (b > 9))
        return NULL;
    unsigned m = tens * 1000 + whole * 100 + a * 10 + b;
    double scale = 100;
    q += 4;
    if (c <= 9) {
        m = m * 10 + c;
        scale = 1000;
        q++;
    }
    *out = decimal_signed((double)(int)m / scale, neg) * factor;
    return q;
}

const char *decimal_scan_slow(const char *start, const char *end, double *out);

static inline const char *decimal_scan(const char *p, const char *end, double *out)
{
    const char *start = p;
    bool neg = p < end && *p == '-';
    p += neg;
    const char *first = p;
    uint64_t m = 0;
    unsigned d;
    while (p < end && (d = (unsigned)(unsigned char)*p - '0') < 10) {
        m = m * 10 + d;
        p++;
    }
    ptrdiff_t digits = p - first;
    if (digits == 0)
        return NULL;
    ptrdiff_t places = 0;
    if (p < end && *p == '.') {
        const char *point = ++p;
        while (p < end && (d = (unsigned)(unsigned char)*p - '0') < 10) {
            m = m * 10 + d;
            p++;
        }
        places = p - point;
        if (places == 0)
            return NULL;
    }
    if (digits + places > DECIMAL_DIGITS_FAST)
        return decimal_scan_slow(start, end, out);
    double v = (double)(int64_t)m / decimal_pow10[places];
    *out = neg ? -v : v;
    return p;
}

#endif
