/* The plain row: digits, point, delimiter, line feed, one pass over its bytes.
 *
 * A number of up to 8 bytes with what ends it is read from one 8-byte word: the first byte that is no digit and the
 * one after it bound it, the point is shifted out, and three multiplications make an integer of the digits. Longer
 * ones go digit by digit. Integer up to 2^53 over a power of ten up to 22 is one correctly rounded division, so the
 * result is the double nearest to the text, as the careful way's. */
#include "ingest/import/rows.h"

#include "ingest/decimal.h"

#include <math.h>
#include <string.h>

#define EXACT_MAX (UINT64_C(1) << 53)
#define ONES      UINT64_C(0x0101010101010101)

static inline unsigned digit_of(char c)
{
    return (unsigned)(unsigned char)c - '0';
}

/* Digits one by one. A line feed stops every scan; at most 18 digits, so that m can't overflow. */
static inline const char *long_number(const char *p, uint64_t *m, int *places)
{
    const char *first = p, *point = NULL;
    unsigned d;
    *m = 0;
    for (; (d = digit_of(*p)) < 10 || (*p == '.' && !point); p++) {
        if (d < 10)
            *m = *m * 10 + d;
        else
            point = p;
        if (p - first > 18)
            return NULL;
    }
    *places = point ? (int)(p - point) - 1 : 0;
    bool digits_around = p > first && point != first && (!point || *places > 0);
    return digits_around && *m <= EXACT_MAX ? p : NULL;
}

#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
/* Eight digits, the first in the lowest byte, as an integer. */
static inline uint64_t eight_digits(uint64_t x)
{
    const uint64_t pairs = UINT64_C(0x000000FF000000FF);
    x = x * 10 + (x >> 8);
    return ((x & pairs) * UINT64_C(0x000F424000000064) + ((x >> 16) & pairs) * UINT64_C(0x0000271000000001)) >> 32;
}

static inline const char *short_number(const char *p, uint64_t *m, int *places)
{
    uint64_t x;
    memcpy(&x, p, sizeof x);
    x ^= ONES * '0';
    uint64_t odd = (((x & ONES * 0x7F) + ONES * 0x76) | x) & ONES * 0x80; /* bytes that are no digits */
    if (odd == 0)
        return NULL;
    unsigned i = (unsigned)__builtin_ctzll(odd) >> 3, n = i;
    if (i == 0)
        return NULL;
    if (p[i] == '.') {
        odd &= odd - 1;
        if (odd == 0)
            return NULL;
        n = (unsigned)__builtin_ctzll(odd) >> 3;
        uint64_t before = (UINT64_C(1) << (8 * i)) - 1;
        x = (x & before) | ((x >> 8) & ~before);
        *places = (int)(n - i) - 1;
        if (*places == 0)
            return NULL;
        *m = eight_digits(x << (72 - 8 * n));
    } else {
        *places = 0;
        *m = eight_digits(x << (64 - 8 * n));
    }
    return p + n;
}
#else
static inline const char *short_number(const char *p, uint64_t *m, int *places)
{
    (void)p;
    (void)m;
    (void)places;
    return NULL;
}
#endif

/* -v where neg, without a branch: signs of flow are hard to foresee. */
static inline double signed_by(double v, bool neg)
{
    uint64_t bits;
    memcpy(&bits, &v, sizeof bits);
    bits ^= (uint64_t)neg << 63;
    memcpy(&v, &bits, sizeof v);
    return v;
}

static inline const char *value(const char *p, char delimiter, double factor, double limit, double *out, uint64_t *empty)
{
    uint64_t m;
    int places;
    bool neg = *p == '-';
    const char *first = p + neg, *end = short_number(first, &m, &places);
    if (!end) {
        if (delimiter != ' ' && (*p == delimiter || *p == '\n')) {
            ++*empty;
            *out = (double)NAN;
            return p;
        }
        end = long_number(first, &m, &places);
        if (!end)
            return NULL;
    }
    double v = signed_by((double)(int64_t)m / decimal_pow10[places], neg) * factor;
    *out = v;
    return fabs(v) <= limit ? end : NULL;
}

/* A stamp without sign or exponent, of at most 9 digits before the point. Its length hardly changes from row to
 * row, so that digit by digit is the quickest. */
static inline const char *stamp(const struct row_plan *plan, const char *p, int64_t *ns)
{
    static const int64_t pow10[10] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000, 1000000000};
    const char *first = p;
    int64_t whole = 0, part = 0;
    unsigned d;
    while ((d = digit_of(*p)) < 10) {
        whole = whole * 10 + (int64_t)d;
        if (++p - first > 9)
            return NULL;
    }
    if (p == first)
        return NULL;
    ptrdiff_t got = 0;
    if (*p == '.') {
        const char *point = ++p;
        while ((d = digit_of(*p)) < 10) {
            part = part * 10 + (int64_t)d;
            if (++p - point > 9)
                return NULL;
        }
        got = p - point;
        if (got == 0 || got > plan->places)
            return NULL;
    }
    *ns = whole * plan->scale + part * pow10[plan->places - (int)got];
    return p;
}

/* Passes over n fields and the delimiters behind them. */
static inline const char *pass(const char *p, int n, char delimiter)
{
    for (; n > 0; p++) {
        if (*p == '\n' || *p == '"' || *p == '\r' || *p == '\0' || (*p == ' ' && p[1] == ' '))
            return NULL;
        n -= *p == delimiter;
    }
    return p;
}

/* The rest of a row with n more fields; returns the byte behind the line feed. */
static inline const char *row_end(const char *p, int n, char delimiter)
{
    if (n > 0) {
        p = *p == delimiter ? pass(p + 1, n - 1, delimiter) : NULL;
        while (p && *p != '\n' && *p != '\r') {
            if (*p == delimiter || *p == '"' || *p == '\0')
                return NULL;
            p++;
        }
        if (!p)
            return NULL;
    }
    p += *p == '\r';
    return *p == '\n' ? p + 1 : NULL;
}

const char *rows_fast(const struct row_plan *plan, struct row_clock *clock, const char *p, const char *stop,
                      struct row_out *out)
{
    const char delimiter = plan->delimiter;
    const int steps = plan->steps;
    int64_t last = clock->last_ns, least = clock->min_ns, most = clock->max_ns;
    size_t n = out->n;
    while (n < out->cap && p < stop) {
        const char *q = *p == '#' || *p == '%' || *p == ' ' ? NULL : p;
        uint64_t empty = 0;
        int64_t t = 0;
        for (int i = 0; i < steps && q; i++) {
            const struct row_step *s = &plan->step[i];
            if (i > 0 && *q++ != delimiter)
                q = NULL;
            if (q && s->pass)
                q = pass(q, s->pass, delimiter);
            if (!q)
                break;
            if (s->slot == SLOTS)
                q = stamp(plan, q, &t);
            else
                q = value(q, delimiter, plan->factor[s->slot], plan->limit[s->slot], &out->v[s->slot][n], &empty);
        }
        q = q ? row_end(q, plan->behind, delimiter) : NULL;
        if (!q || q - p > 4096)
            break;
        if (plan->time >= 0) {
            t -= clock->first_ns;
            int64_t step = t - last;
            if (step <= 0 || step > clock->limit_ns)
                break;
            least = step < least ? step : least;
            most = step > most ? step : most;
        } else {
            t = grid_take(&clock->grid);
        }
        out->t_ns[n++] = last = t;
        out->empty += empty;
        p = q;
    }
    clock->last_ns = last;
    clock->min_ns = least;
    clock->max_ns = most;
    out->n = n;
    return p;
}
