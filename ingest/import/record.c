#include "ingest/import/record.h"

#include "ingest/import/window.h"

#include <string.h>

/* Length of the line end at p[i], or 0 where more must be seen to know it. */
static size_t line_end(const char *p, size_t n, size_t i, bool final)
{
    if (p[i] == '\n')
        return 1;
    if (i + 1 < n)
        return p[i + 1] == '\n' ? 2 : 1;
    return final ? 1 : 0;
}

struct scan {
    bool in_quote;
    bool after_quote; /* behind a closing quote: only spaces, then a delimiter or the line's end */
    bool field_start;
    bool stray;
    size_t first_end; /* where the first line ends, once a quoted field runs past it; else 0 */
    size_t first_len;
    uint64_t lines;
};

/* One character outside line ends. Returns false where the next character must be seen first. */
static bool scan_char(struct scan *s, const char *p, size_t n, size_t *i, char delimiter, bool final)
{
    char c = p[*i];
    if (s->in_quote) {
        if (c != '"')
            return true;
        if (*i + 1 == n && !final)
            return false;
        if (*i + 1 < n && p[*i + 1] == '"') {
            ++*i;
            return true;
        }
        s->in_quote = false;
        s->after_quote = true;
        return true;
    }
    if (c == delimiter) {
        s->field_start = true;
        s->after_quote = false;
    } else if (s->after_quote) {
        s->stray = s->stray || c != ' ';
    } else if (c == '"' && s->field_start) {
        s->in_quote = true;
        s->field_start = false;
    } else if (c != ' ') {
        s->field_start = false;
    }
    return true;
}

static struct record whole(enum record_kind kind, const char *p, size_t n, size_t end, uint64_t lines)
{
    return (struct record){.kind = kind, .p = p, .n = n, .used = n + end, .lines = lines};
}

/* Looks at the finished text: what kind of line is it? */
static struct record judged(const char *p, size_t n, size_t end, const struct scan *s)
{
    size_t i = 0;
    while (i < n && (p[i] == ' ' || p[i] == '\t'))
        i++;
    enum record_kind kind = REC_ROW;
    if (i == n)
        kind = REC_BLANK;
    else if (n > RECORD_MAX)
        kind = REC_LONG;
    else if (s->stray)
        kind = REC_STRAY;
    else if (memchr(p, '\0', n))
        kind = REC_BINARY;
    if (kind == REC_STRAY && s->first_end)
        return whole(kind, p, s->first_end, s->first_len, 1);
    return whole(kind, p, n, end, s->lines + 1);
}

static struct record unclosed(const char *p, size_t n, const struct scan *s)
{
    if (s->first_end)
        return whole(REC_UNCLOSED, p, s->first_end, s->first_len, 1);
    return whole(n > RECORD_MAX ? REC_LONG : REC_UNCLOSED, p, n, 0, 0);
}

static struct record comment(const char *p, size_t n, bool final)
{
    for (size_t i = 0; i < n; i++) {
        if (p[i] != '\n' && p[i] != '\r')
            continue;
        size_t len = line_end(p, n, i, final);
        return len ? whole(REC_COMMENT, p, i, len, 1) : whole(REC_MORE, p, 0, 0, 0);
    }
    if (n > RECORD_MAX)
        return whole(REC_LONG, p, n, 0, 0);
    return whole(final ? REC_COMMENT : REC_MORE, p, final ? n : 0, 0, 0);
}

struct record record_take(const char *p, size_t n, char delimiter, bool final)
{
    struct scan s = {.field_start = true};
    if (n == 0)
        return whole(REC_MORE, p, 0, 0, 0);
    size_t lead = 0;
    while (lead < n && p[lead] == ' ')
        lead++;
    if (lead < n && (p[lead] == '#' || p[lead] == '%'))
        return comment(p, n, final);
    for (size_t i = 0; i < n; i++) {
        if (i > RECORD_MAX)
            return s.in_quote ? unclosed(p, i, &s) : whole(REC_LONG, p, i, 0, 0);
        if (p[i] != '\n' && p[i] != '\r') {
            if (!scan_char(&s, p, n, &i, delimiter, final))
                return whole(REC_MORE, p, 0, 0, 0);
            if (s.stray && s.first_end)
                return whole(REC_STRAY, p, s.first_end, s.first_len, 1);
            continue;
        }
        size_t len = line_end(p, n, i, final);
        if (len == 0)
            return whole(REC_MORE, p, 0, 0, 0);
        if (!s.in_quote)
            return judged(p, i, len, &s);
        if (!s.first_end) {
            s.first_end = i;
            s.first_len = len;
        }
        s.lines++;
        i += len - 1;
    }
    if (!final)
        return whole(REC_MORE, p, 0, 0, 0);
    return s.in_quote ? unclosed(p, n, &s) : judged(p, n, 0, &s);
}

size_t record_pass(const char *p, size_t n, bool final, bool *done)
{
    for (size_t i = 0; i < n; i++) {
        if (p[i] != '\n' && p[i] != '\r')
            continue;
        size_t len = line_end(p, n, i, final);
        *done = len > 0;
        return i + len;
    }
    *done = final;
    return n;
}

static bool is_blank(char c, char delimiter)
{
    return c == ' ' || (c == '\t' && delimiter != '\t');
}

/* The field that begins at *i; *i is left on the delimiter behind it, or on n. */
static struct field next_field(const char *p, size_t n, char delimiter, size_t *i)
{
    size_t a = *i;
    while (a < n && p[a] != delimiter && is_blank(p[a], delimiter))
        a++;
    struct field f = {p + a, 0};
    if (a < n && p[a] == '"') {
        size_t b = ++a;
        while (b < n && (p[b] != '"' || (b + 1 < n && p[b + 1] == '"')))
            b += p[b] == '"' ? 2 : 1;
        if (b > n)
            b = n;
        f = (struct field){p + a, b - a};
        for (*i = b; *i < n && p[*i] != delimiter; ++*i)
            ;
        return f;
    }
    size_t b = a;
    while (b < n && p[b] != delimiter)
        b++;
    *i = b;
    while (b > a && is_blank(p[b - 1], delimiter))
        b--;
    f.n = b - a;
    return f;
}

size_t record_split(const struct record *r, char delimiter, struct field *f, size_t max)
{
    size_t count = 0;
    size_t n = r->n;
    size_t i = 0;
    if (delimiter == ' ') {
        while (n > 0 && is_blank(r->p[n - 1], ' '))
            n--;
        while (i < n && is_blank(r->p[i], ' '))
            i++;
    }
    for (;;) {
        struct field one = next_field(r->p, n, delimiter, &i);
        if (count < max)
            f[count] = one;
        count++;
        if (i >= n)
            return count;
        i++;
        while (delimiter == ' ' && i < n && is_blank(r->p[i], ' '))
            i++;
    }
}
