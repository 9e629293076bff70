/* The plain row: digits, point, delimiter, line feed, one pass over its bytes.
 *
 * An integer up to 2^53 over a power of ten up to 22 is one correctly rounded division, so the result is the double
 * nearest to the text, as the careful way's. Digit by digit with branches that the processor foresees was quicker than
 * eight digits at a time by multiplication: lengths and signs hardly change from row to row (24 against 30 ns a row). */
#include "ingest/import/rows.h"

#include "ingest/decimal.h"

#include <math.h>
#include <string.h>

#define EXACT_MAX (UINT64_C(1) << 53)

/* Digits one by one. A line feed stops every scan; at most 18 digits, so that m can't overflow. */
static inline const char *long_number(const char *p, uint64_t *m, int *places)
{
    const char *first = p, *point = NULL;
    unsigned d;
    *m = 0;
    for (; (d = decimal_digit(*p)) < 10 || (*p == '.' && !point); p++) {
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

/* Up to 15 digits and a point, or 16 digits. A line feed stops every scan; x may overflow before the length is looked
 * at, and is then not used. */
static inline const char *short_number(const char *p, uint64_t *m, int *places)
{
    const char *first = p;
    uint64_t x = decimal_digit(*p);
    unsigned d;
    if (x > 9)
        return NULL;
    while ((d = decimal_digit(*++p)) < 10)
        x = x * 10 + d;
    *places = 0;
    if (*p == '.') {
        const char *point = p;
        while ((d = decimal_digit(*++p)) < 10)
            x = x * 10 + d;
        *places = (int)(p - point) - 1;
        if (*places == 0)
            return NULL;
    }
    *m = x;
    return p - first <= 16 ? p : NULL;
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
    double v = decimal_signed((double)(int64_t)m / decimal_pow10[places], neg) * factor;
    *out = v;
    return fabs(v) <= limit ? end : NULL;
}

/* A stamp without sign or exponent, of at most 9 digits before the point. */
static inline const char *stamp(const struct row_plan *plan, const char *p, int64_t *ns)
{
    static const int64_t pow10[10] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000, 1000000000};
    const char *first = p;
    int64_t whole = 0, part = 0;
    unsigned d;
    while ((d = decimal_digit(*p)) < 10) {
        whole = whole * 10 + (int64_t)d;
        if (++p - first > 9)
            return NULL;
    }
    if (p == first)
        return NULL;
    ptrdiff_t got = 0;
    if (*p == '.') {
        const char *point = ++p;
        while ((d = decimal_digit(*p)) < 10) {
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

/* Most stamps differ from the one before in their last digits alone. What stands before those is kept as it was
 * last read, and compared sixteen bytes at once. */
struct stamp_cache {
    uint64_t text[2], mask[2];
    unsigned length, tail; /* bytes before the last digits; how many those are */
    int64_t ns, unit_ns;
};

#define TAIL 3

static void cache_stamp(struct stamp_cache *c, const struct row_plan *plan, const char *p, const char *end, int64_t ns)
{
    const char *point = memchr(p, '.', (size_t)(end - p));
    unsigned places = point ? (unsigned)(end - point) - 1 : 0;
    unsigned tail = point ? (places < TAIL ? places : TAIL) : 1;
    unsigned length = (unsigned)(end - p) - tail;
    c->length = 0;
    if (length == 0 || length > 16 || (int)places > plan->places)
        return;
    unsigned char ones[16] = {0};
    memset(ones, 0xFF, length);
    memcpy(c->mask, ones, sizeof ones);
    memcpy(c->text, p, sizeof c->text);
    c->text[0] &= c->mask[0];
    c->text[1] &= c->mask[1];
    int64_t unit = plan->scale, last = 0;
    for (unsigned i = 0; i < places; i++)
        unit /= 10;
    for (unsigned i = 0; i < tail; i++)
        last = last * 10 + (int64_t)decimal_digit(end[(int)i - (int)tail]);
    c->unit_ns = unit;
    c->ns = ns - last * unit;
    c->length = length;
    c->tail = tail;
}

static inline const char *cached_stamp(struct stamp_cache *c, const struct row_plan *plan, const char *p, int64_t *ns)
{
    uint64_t text[2];
    memcpy(text, p, sizeof text);
    if (c->length > 0 && (((text[0] ^ c->text[0]) & c->mask[0]) | ((text[1] ^ c->text[1]) & c->mask[1])) == 0) {
        const char *q = p + c->length;
        unsigned last = decimal_digit(*q), bad = last > 9;
        for (unsigned i = 1; i < c->tail; i++) {
            unsigned d = decimal_digit(q[i]);
            bad |= d > 9;
            last = last * 10 + d;
        }
        q += c->tail;
        if (!bad && decimal_digit(*q) > 9 && *q != '.') {
            *ns = c->ns + (int64_t)last * c->unit_ns;
            return q;
        }
    }
    const char *end = stamp(plan, p, ns);
    if (end)
        cache_stamp(c, plan, p, end, *ns);
    return end;
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

/* A row is the time and two values, and nothing else. */
static bool three_columns(const struct row_plan *plan)
{
    const struct row_step *s = plan->step;
    return plan->steps == 3 && plan->behind == 0 && s[0].slot == SLOTS && !s[0].pass && !s[1].pass && !s[2].pass;
}

/* A value that ends a field or the row. */
struct three_value {
    double factor, limit;
    bool usual; /* no usual value passes the limit */
    double *v;
};

static struct three_value three_value(const struct row_plan *plan, const struct row_out *out, int slot)
{
    const double factor = plan->factor[slot], limit = plan->limit[slot];
    return (struct three_value){factor, limit, 100 * fabs(factor) <= limit, out->v[slot]};
}

/* Most recordings are such rows: nothing is asked twice, and what a loop needs stays in registers. */
static const char *rows_three(const struct row_plan *plan, struct row_clock *clock, const char *p, const char *stop,
                              struct row_out *out)
{
    const struct three_value a = three_value(plan, out, plan->step[1].slot), b = three_value(plan, out, plan->step[2].slot);
    int64_t *const t_ns = out->t_ns;
    const int64_t first_ns = clock->first_ns, limit_ns = clock->limit_ns;
    const char delimiter = plan->delimiter;
    int64_t last = clock->last_ns, least = clock->min_ns, most = clock->max_ns;
    const size_t cap = out->cap;
    size_t n = out->n;
    uint64_t empty = 0;
    struct stamp_cache cache = {.length = 0};
    while (n < cap && p < stop) {
        uint64_t none = 0;
        int64_t t;
        const char *q = cached_stamp(&cache, plan, p, &t);
        if (!q || *q++ != delimiter)
            break;
        const char *end = a.usual ? decimal_usual(q, a.factor, &a.v[n]) : NULL;
        if (!end || *end != delimiter)
            end = value(q, delimiter, a.factor, a.limit, &a.v[n], &none);
        if (!end || *end != delimiter)
            break;
        q = end + 1;
        end = b.usual ? decimal_usual(q, b.factor, &b.v[n]) : NULL;
        if (!end || *end != '\n')
            end = value(q, delimiter, b.factor, b.limit, &b.v[n], &none);
        if (!end)
            break;
        end += *end == '\r';
        t -= first_ns;
        int64_t step = t - last;
        if (*end != '\n' || step <= 0 || step > limit_ns)
            break;
        least = step < least ? step : least;
        most = step > most ? step : most;
        t_ns[n++] = last = t;
        empty += none;
        p = end + 1;
    }
    out->empty += empty;
    clock->last_ns = last;
    clock->min_ns = least;
    clock->max_ns = most;
    out->n = n;
    return p;
}

const char *rows_fast(const struct row_plan *plan, struct row_clock *clock, const char *p, const char *stop,
                      struct row_out *out)
{
    if (three_columns(plan))
        return rows_three(plan, clock, p, stop, out);
    const char delimiter = plan->delimiter;
    const int steps = plan->steps;
    int64_t last = clock->last_ns, least = clock->min_ns, most = clock->max_ns;
    size_t n = out->n;
    struct stamp_cache cache = {.length = 0};
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
                q = cached_stamp(&cache, plan, q, &t);
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
