/* The reader's inner loop: runs of whole, plain sample lines, which are nearly all of a log. Whatever is not one - a step,
 * a checksum, a CR, a long number, an error - is left to the general way, line by line; both give the same. */
#include "ingest/log/log_read_internal.h"

#include "ingest/decimal.h"

#include <math.h>

/* A number that some byte other than a digit or a point follows, so that no end need be looked for; NULL: leave it to the
 * general way. */
static inline const char *fast_number(const char *p, double *out)
{
    bool neg = *p == '-';
    p += neg;
    const char *first = p;
    uint64_t m = 0;
    unsigned d;
    while ((d = (unsigned)(unsigned char)*p - '0') < 10) {
        m = m * 10 + d;
        p++;
    }
    ptrdiff_t digits = p - first, places = 0;
    if (digits == 0)
        return NULL;
    if (*p == '.') {
        const char *point = ++p;
        while ((d = (unsigned)(unsigned char)*p - '0') < 10) {
            m = m * 10 + d;
            p++;
        }
        places = p - point;
        if (places == 0)
            return NULL;
    }
    if (digits + places > DECIMAL_DIGITS_FAST)
        return NULL;
    double v = (double)(int64_t)m / decimal_pow10[places];
    *out = neg ? -v : v;
    return p;
}

/* One line into row i; returns the byte after its LF, or NULL. The caller knows that an LF follows somewhere. */
static inline const char *fast_line(struct log_reader *r, const char *p, size_t i)
{
    const size_t fields = r->head.fields;
    for (size_t k = 0; k < fields; k++) {
        double v = (double)NAN;
        const char stop = k + 1 < fields ? ',' : '\n';
        if (*p != stop) {
            p = fast_number(p, &v);
            if (!p || *p != stop)
                return NULL;
        }
        p++;
        if (r->head.field[k] != CH_N)
            r->block.v[r->head.field[k]][i] = v * r->head.factor[k];
    }
    return p;
}

#define PAIR_READ 18 /* bytes that a line of two usual values and what is looked at behind it may take */

/* Two channels, as most logs have: nothing is asked twice. Takes lines while there is room to read ahead. */
static const char *fast_pairs(struct log_reader *r, const char *p, const char *end)
{
    if (r->head.fields != 2 || r->head.field[0] == CH_N || r->head.field[1] == CH_N || r->step_ns == 0)
        return p;
    const double factor_a = r->head.factor[0], factor_b = r->head.factor[1];
    double *const a = r->block.v[r->head.field[0]], *const b = r->block.v[r->head.field[1]];
    int64_t *const t_ns = r->block.t_ns, most = TIME_LINE_SAMPLES - r->since, step_ns = r->step_ns;
    const size_t first = r->block.n;
    int64_t t = r->anchor_ns + r->k * step_ns, n = 0;
    if (t <= r->last_ns)
        return p;
    for (; n < most && end - p >= PAIR_READ; n++) {
        const size_t i = first + (size_t)n;
        const char *q = decimal_usual(p, factor_a, &a[i]);
        if (!q || *q != ',')
            break;
        q = decimal_usual(q + 1, factor_b, &b[i]);
        if (!q || *q != '\n')
            break;
        t_ns[i] = t;
        t += step_ns;
        p = q + 1;
    }
    if (n == 0)
        return p;
    r->block.n += (size_t)n;
    r->k += n;
    r->since += n;
    r->total += (uint64_t)n;
    r->line += (uint64_t)n;
    r->prev_ns = r->last_ns = t - step_ns;
    return p;
}

const char *reader_fast_samples(struct log_reader *r, const char *p, const char *end)
{
    if (!r->timed || r->refusing || r->head_refused || r->overflow || r->in_head || r->closed ||
        r->info.clock == CLOCK_HOST)
        return p;
    while (end > p && end[-1] != '\n')
        end--;
    p = fast_pairs(r, p, end);
    while (p < end && r->since < TIME_LINE_SAMPLES) {
        if (line_kind(p, 1) != LINE_SAMPLE || *p == '+')
            break;
        size_t i = r->block.n;
        int64_t t = r->anchor_ns +
                    (r->step_ns ? r->k * r->step_ns : nominal_ns(r->k, r->info.rate_num, r->info.rate_den));
        const char *next = t > r->last_ns ? fast_line(r, p, i) : NULL;
        if (!next)
            break;
        r->block.t_ns[i] = t;
        r->block.n = i + 1;
        r->k++;
        r->since++;
        r->total++;
        r->line++;
        r->prev_ns = t;
        r->last_ns = t;
        p = next;
    }
    return p;
}
