#include "ingest/import/layout.h"

#include "ingest/import/cell.h"
#include "ingest/import/delimiter.h"
#include "ingest/import/heading.h"
#include "ingest/import/plain.h"

#include <string.h>

/* UTF-8's mark is passed over; what can't be text is refused before anything is guessed from it. */
static int pass_mark(const struct peek *k, size_t *from, struct err *e)
{
    *from = 0;
    if (k->n >= 3 && memcmp(k->p, "\xEF\xBB\xBF", 3) == 0)
        *from = 3;
    if (k->n >= 2 && (memcmp(k->p, "\xFF\xFE", 2) == 0 || memcmp(k->p, "\xFE\xFF", 2) == 0))
        return err_set(e, TM_ERR_INPUT, k->file, 1, "save it as UTF-8 or plain ASCII text", "the text is UTF-16");
    size_t look = k->n < 4096 ? k->n : 4096;
    size_t odd = 0;
    for (size_t i = *from; i < look; i++) {
        unsigned char c = (unsigned char)k->p[i];
        odd += c == 0 || c == 0x7F || (c < 32 && c != '\t' && c != '\n' && c != '\r' && c != '\f');
    }
    if (odd > look / 50)
        return err_set(e, TM_ERR_INPUT, k->file, 0, "give delimited text, plain or gzipped, or a log",
                       "this does not look like text: %zu of its first %zu bytes are control characters", odd, look);
    if (k->n == *from && k->final)
        return err_set(e, TM_ERR_INPUT, k->file, 0, "", "no text to read: it is empty, or damaged throughout");
    return TM_OK;
}

/* What the rows before the first one of samples are. */
struct head {
    bool found;
    struct field name[COLUMNS_MAX];
    size_t named;
    size_t known; /* headings recognised, or named by --columns */
    uint64_t line;
    size_t behind;       /* byte behind it */
    uint64_t lines_behind;
    uint64_t rows; /* rows that were looked at */
};

static size_t headings_known(const struct field *f, size_t n, const char *columns)
{
    size_t known = 0;
    for (size_t i = 0; i < n; i++) {
        if (f[i].n == 0)
            continue;
        char text[PLAIN_MAX];
        bool named = false;
        if (columns && f[i].n < sizeof text) {
            memcpy(text, f[i].p, f[i].n);
            text[f[i].n] = '\0';
            const char *eq = strstr(columns, text);
            named = eq && eq > columns && eq[-1] == '=';
        }
        known += named || heading_read(f[i].p, f[i].n).use != USE_NONE;
    }
    return known;
}

static bool row_of_data(const struct field *f, size_t n)
{
    size_t data = 0, text = 0;
    for (size_t i = 0; i < n; i++) {
        enum cell c = cell_kind(f[i].p, f[i].n);
        data += c == CELL_NUMBER || c == CELL_COMMA || c == CELL_TIME;
        text += c == CELL_TEXT;
    }
    return data > 0 && data >= text;
}

static bool row_of_units(const struct field *f, size_t n)
{
    size_t units = 0, filled = 0;
    for (size_t i = 0; i < n; i++) {
        filled += f[i].n > 0;
        units += f[i].n > 0 && plain_is_unit(f[i].p, f[i].n);
    }
    return units > 0 && units * 2 >= filled;
}

static size_t lesser(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* The better header wins: more headings known; of equals the earlier, unless none of them knows any. */
static void offer(struct head *h, const struct field *f, size_t n, const struct record *r, size_t at, uint64_t lines,
                  const char *columns)
{
    size_t stored = lesser(n, COLUMNS_MAX);
    size_t known = headings_known(f, stored, columns);
    if (h->found && (known < h->known || (known == h->known && known > 0)))
        return;
    *h = (struct head){.found = true, .named = stored, .known = known, .line = lines + 1, .rows = h->rows};
    memcpy(h->name, f, stored * sizeof f[0]);
    h->behind = at + r->used;
    h->lines_behind = lines + r->lines;
}

/* A comment that holds as many headings as the rows have fields: some programs write their header so. */
static void offer_comment(struct head *h, struct record r, const struct layout *l, size_t at, uint64_t lines,
                          const char *columns)
{
    struct field f[COLUMNS_MAX];
    const struct record all = r;
    while (r.n > 0 && (*r.p == ' ' || *r.p == '#' || *r.p == '%')) {
        r.p++;
        r.n--;
    }
    size_t n = record_split(&r, l->delimiter, f, COLUMNS_MAX);
    if (headings_known(f, lesser(n, COLUMNS_MAX), columns) >= 2)
        offer(h, f, n, &all, at, lines, columns);
}

/* Walks to the first row of samples. Leaves h with the header found, if any. */
static void find_head(struct head *h, struct layout *l, const struct peek *k, size_t from, const struct import_opts *o)
{
    size_t at = from;
    uint64_t lines = 0;
    struct field f[COLUMNS_MAX];
    memset(h, 0, sizeof *h);
    l->data_from = from;
    l->lines = 0;
    while (at < k->n) {
        struct record r = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (r.kind == REC_MORE || r.kind == REC_LONG)
            break;
        if (r.kind == REC_COMMENT && o->header == 0)
            offer_comment(h, r, l, at, lines, o->columns);
        if (r.kind == REC_ROW) {
            size_t n = record_split(&r, l->delimiter, f, COLUMNS_MAX);
            bool data = row_of_data(f, lesser(n, COLUMNS_MAX));
            if (o->header == 1 && h->rows == 0)
                data = false;
            if (o->header == -1 || data)
                break;
            h->rows++;
            if (o->header == 0 || h->rows == 1)
                offer(h, f, n, &r, at, lines, o->columns);
            l->data_from = at + r.used;
            l->lines = lines + r.lines;
        }
        at += r.used;
        lines += r.lines;
    }
}

/* Takes the header over: where the samples begin, and a row of units directly behind it. */
static void settle(struct layout *l, const struct head *h, const struct peek *k)
{
    l->has_header = h->found;
    l->passed_over = h->rows;
    if (!h->found)
        return;
    l->named = h->named;
    l->header_line = h->line;
    memcpy(l->name, h->name, sizeof l->name);
    l->passed_over -= h->rows > 0 && h->behind <= l->data_from ? 1 : 0;
    size_t at = h->behind;
    uint64_t lines = h->lines_behind;
    while (at < k->n) {
        struct record r = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (r.kind == REC_MORE || r.kind == REC_LONG)
            break;
        at += r.used;
        lines += r.lines;
        if (r.kind != REC_ROW)
            continue;
        size_t n = record_split(&r, l->delimiter, l->unit, COLUMNS_MAX);
        n = lesser(n, COLUMNS_MAX);
        l->has_units = row_of_units(l->unit, n) && !row_of_data(l->unit, n);
        if (!l->has_units)
            memset(l->unit, 0, sizeof l->unit);
        else if (at > l->data_from) {
            l->data_from = at;
            l->lines = lines;
        } else if (l->passed_over > 0) {
            l->passed_over--;
        }
        break;
    }
    if (h->behind > l->data_from) {
        l->data_from = h->behind;
        l->lines = h->lines_behind;
    }
}

/* How many fields most rows of samples have; and whether their decimal point is a comma that nobody asked for. */
static int measure_rows(struct layout *l, const struct peek *k, struct err *e)
{
    size_t times[COLUMNS_MAX + 2] = {0}; /* the last: more than can be mapped */
    size_t rows = 0, comma_rows = 0, filled_last = 0;
    struct field f[COLUMNS_MAX];
    uint64_t lines = l->lines, comma_line = 0;
    for (size_t at = l->data_from; at < k->n && rows < PEEK_ROWS;) {
        struct record r = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (r.kind == REC_MORE || r.kind == REC_LONG)
            break;
        at += r.used;
        lines += r.lines;
        if (r.kind != REC_ROW)
            continue;
        size_t n = record_split(&r, l->delimiter, f, COLUMNS_MAX);
        times[lesser(n, COLUMNS_MAX + 1)]++;
        filled_last += f[lesser(n, COLUMNS_MAX) - 1].n > 0;
        rows++;
        size_t commas = 0;
        for (size_t i = 0; i < lesser(n, COLUMNS_MAX); i++)
            commas += cell_kind(f[i].p, f[i].n) == CELL_COMMA;
        if (commas && !comma_line)
            comma_line = lines;
        comma_rows += commas > 0;
    }
    for (size_t i = 1; i <= COLUMNS_MAX + 1; i++)
        if (times[i] > times[l->columns])
            l->columns = i;
    l->last_empty = filled_last * 50 <= rows && l->columns > 1;
    if (rows == 0)
        return err_set(e, TM_ERR_INPUT, k->file, 0, "", "there is no row of samples in it%s",
                       l->has_header ? ", only a header" : "");
    if (l->columns > COLUMNS_MAX)
        return err_set(e, TM_ERR_INPUT, k->file, l->lines + 1, "keep the columns that are needed",
                       "the rows have more than %d fields", COLUMNS_MAX);
    if (comma_rows * 2 >= rows && l->point == '.')
        return err_set(e, TM_ERR_INPUT, k->file, comma_line,
                       l->delimiter == ',' ? "write the numbers with a point" : "say that it is so: --decimal-comma",
                       "the numbers seem to have a decimal comma");
    return TM_OK;
}

/* Between spaces, `Time [s]` looks like two headings: brackets belong to the heading before them. */
static void join_units(struct layout *l)
{
    size_t n = 0;
    for (size_t i = 0; i < l->named; i++) {
        const struct field *f = &l->name[i];
        if (n > 0 && f->n > 0 && (*f->p == '[' || *f->p == '('))
            l->name[n - 1].n = (size_t)(f->p + f->n - l->name[n - 1].p);
        else
            l->name[n++] = *f;
    }
    memset(&l->name[n], 0, (l->named - n) * sizeof l->name[0]);
    l->named = n;
}

int layout_find(struct layout *l, const struct peek *k, const struct import_opts *o, struct err *e)
{
    memset(l, 0, sizeof *l);
    l->point = o->decimal_comma ? ',' : '.';
    size_t from;
    int rc = pass_mark(k, &from, e);
    if (rc == TM_OK)
        rc = delimiter_find(&l->delimiter, k, from, o, e);
    if (rc != TM_OK)
        return rc;
    struct record first = record_take(k->p + from, k->n - from, l->delimiter, k->final);
    if (first.kind == REC_LONG || first.kind == REC_MORE)
        return err_set(e, TM_ERR_INPUT, k->file, 1, "give delimited text with a row a line",
                       "the first line is longer than any row of samples");
    struct head h;
    find_head(&h, l, k, from, o);
    settle(l, &h, k);
    rc = measure_rows(l, k, e);
    if (rc == TM_OK && l->delimiter == ' ' && l->named > l->columns)
        join_units(l);
    return rc;
}
