#include "ingest/log/line.h"

#include "ingest/decimal.h"
#include "ingest/log/crc16.h"
#include "ingest/rfc3339.h"

#include <math.h>
#include <string.h>

enum line_kind line_kind(const char *p, size_t n)
{
    if (n == 0)
        return LINE_EMPTY;
    switch (*p) {
    case '@':
        return LINE_TIME;
    case '%':
        return LINE_HEAD;
    case '!':
        return LINE_MARK;
    case '~':
        return LINE_GAP;
    case '^':
        return LINE_CLOCK;
    case '.':
        return LINE_CLOSE;
    case ',':
    case '-':
    case '+':
        return LINE_SAMPLE;
    default:
        return *p >= '0' && *p <= '9' ? LINE_SAMPLE : LINE_OTHER;
    }
}

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

enum line_crc line_strip_crc(const char *p, size_t *n)
{
    if (*n < 6 || p[*n - 6] != ' ' || p[*n - 5] != '$')
        return LINE_CRC_NONE;
    unsigned want = 0;
    for (size_t i = *n - 4; i < *n; i++) {
        int h = hex(p[i]);
        if (h < 0)
            return LINE_CRC_NONE;
        want = want * 16 + (unsigned)h;
    }
    *n -= 6;
    return crc16(p, *n) == want ? LINE_CRC_GOOD : LINE_CRC_BAD;
}

size_t line_add_crc(char *p, size_t n)
{
    unsigned c = crc16(p, n);
    p[n] = ' ';
    p[n + 1] = '$';
    for (int i = 0; i < 4; i++)
        p[n + 2 + (size_t)i] = "0123456789ABCDEF"[c >> (12 - 4 * i) & 15];
    return n + 6;
}

/* 1*DIGIT ["." 1*3DIGIT] microseconds, then a comma. */
static const char *parse_step(const char *p, const char *end, int64_t *ns)
{
    uint64_t us, frac = 0, unit = 1000;
    p = decimal_scan_u64(p, end, &us);
    if (!p || us > UINT64_C(1000000000000))
        return NULL;
    if (p < end && *p == '.') {
        const char *point = ++p;
        for (; p < end && *p >= '0' && *p <= '9'; p++) {
            if (unit == 1)
                return NULL;
            unit /= 10;
            frac += unit * (uint64_t)(*p - '0');
        }
        if (p == point)
            return NULL;
    }
    *ns = (int64_t)(us * 1000 + frac);
    return p < end && *p == ',' ? p + 1 : NULL;
}

bool line_parse_sample(const char *p, size_t n, struct line_sample *out)
{
    const char *end = p + n;
    out->step_ns = -1;
    if (n > 0 && *p == '+') {
        p = parse_step(p + 1, end, &out->step_ns);
        if (!p)
            return false;
    }
    for (size_t k = 0; k < LINE_FIELDS; k++) {
        out->value[k] = (double)NAN;
        if (p < end && *p != ',') {
            p = decimal_scan(p, end, &out->value[k]);
            if (!p)
                return false;
        }
        if (p == end) {
            out->n = k + 1;
            return true;
        }
        if (*p++ != ',')
            return false;
    }
    return false;
}

/* A word up to a space or the end; empty: false. */
static bool word(const char **p, const char *end, const char **w, size_t *n)
{
    *w = *p;
    while (*p < end && **p != ' ')
        (*p)++;
    *n = (size_t)(*p - *w);
    return *n > 0;
}

static bool space(const char **p, const char *end)
{
    if (*p >= end || **p != ' ')
        return false;
    (*p)++;
    return true;
}

bool line_parse_time(const char *p, size_t n, struct line_time *out)
{
    const char *end = p + n;
    memset(out, 0, sizeof *out);
    p = decimal_scan_ns(p + 1, end, &out->t_ns);
    if (!p || !space(&p, end))
        return false;
    out->count = LINE_NO_COUNT;
    if (p < end && *p == '-') {
        p++;
    } else {
        uint64_t count;
        p = decimal_scan_u64(p, end, &count);
        if (!p || count > INT64_MAX)
            return false;
        out->count = (int64_t)count;
    }
    if (p == end)
        return true;
    const char *w;
    size_t wn;
    if (!space(&p, end) || !word(&p, end, &w, &wn) || !rfc3339_parse(w, wn, &out->wall_ns, NULL) ||
        !space(&p, end))
        return false;
    p = decimal_scan_ns(p, end, &out->monotonic_ns);
    out->has_host = true;
    return p == end;
}

bool line_parse_mark(const char *p, size_t n, struct line_mark *out)
{
    const char *end = p + n, *w;
    size_t wn;
    memset(out, 0, sizeof *out);
    p = decimal_scan_ns(p + 1, end, &out->at_ns);
    if (!p || !space(&p, end) || !word(&p, end, &w, &wn))
        return false;
    if (wn != 1 || *w != '-') {
        out->entered_known = true;
        out->entered_is_wall = rfc3339_parse(w, wn, &out->entered_ns, NULL);
        if (!out->entered_is_wall && decimal_scan_ns(w, w + wn, &out->entered_ns) != w + wn)
            return false;
    }
    if (!space(&p, end) || !word(&p, end, &out->kind, &out->kind_n))
        return false;
    out->text = p;
    if (space(&p, end)) {
        out->text = p;
        out->text_n = (size_t)(end - p);
    }
    return true;
}

bool line_parse_gap(const char *p, size_t n, struct line_gap *out)
{
    const char *end = p + n;
    memset(out, 0, sizeof *out);
    out->lost_ns = -1;
    p++;
    if (!space(&p, end) || !word(&p, end, &out->reason, &out->reason_n))
        return false;
    if (p == end)
        return true;
    if (!space(&p, end))
        return false;
    if (p < end && *p == '-') {
        p++;
    } else {
        p = decimal_scan_ns(p, end, &out->lost_ns);
        if (!p || out->lost_ns < 0)
            return false;
    }
    return p == end || *p == ' ';
}

bool line_parse_clock(const char *p, size_t n, struct line_clock *out)
{
    const char *end = p + n;
    memset(out, 0, sizeof *out);
    p++;
    if (!space(&p, end) || !word(&p, end, &out->what, &out->what_n))
        return false;
    if (p == end)
        return true;
    if (!space(&p, end))
        return false;
    if (end - p == 1 && *p == '-')
        return true;
    p = decimal_scan_ns(p, end, &out->step_ns);
    out->step_known = true;
    return p && (p == end || *p == ' ');
}

bool line_parse_close(const char *p, size_t n, uint64_t *count)
{
    const char *end = p + n;
    return decimal_scan_u64(p + 1, end, count) == end;
}

size_t line_encode(char *dst, size_t cap, const char *src)
{
    size_t n = 0;
    for (; *src; src++) {
        unsigned char c = (unsigned char)*src;
        bool plain = c > ' ' && c < 0x7f && c != '%' && c != ';' && c != '=';
        size_t need = plain ? 1 : 3;
        if (n + need >= cap)
            break;
        if (plain) {
            dst[n++] = (char)c;
            continue;
        }
        dst[n++] = '%';
        dst[n++] = "0123456789ABCDEF"[c >> 4];
        dst[n++] = "0123456789ABCDEF"[c & 15];
    }
    dst[n] = '\0';
    return n;
}

size_t line_decode(char *dst, size_t cap, const char *src, size_t n)
{
    size_t w = 0;
    for (size_t i = 0; i < n && w + 1 < cap; i++) {
        char c = src[i];
        if (c == '%' && i + 2 < n && hex(src[i + 1]) >= 0 && hex(src[i + 2]) >= 0) {
            c = (char)(hex(src[i + 1]) * 16 + hex(src[i + 2]));
            i += 2;
        }
        dst[w++] = c;
    }
    dst[w] = '\0';
    return w;
}
