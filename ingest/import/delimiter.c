#include "ingest/import/delimiter.h"

#include "ingest/import/cell.h"

#include <string.h>

#define SAMPLE_ROWS 200

static const struct {
    const char *name;
    char c;
} named[] = {{"tab", '\t'}, {"\\t", '\t'}, {"semicolon", ';'}, {"comma", ','}, {"space", ' '}};

const char *delimiter_name(char c)
{
    switch (c) {
    case '\t':
        return "tab";
    case ' ':
        return "space";
    case ';':
        return "semicolon";
    case ',':
        return "comma";
    default:
        return "character";
    }
}

static int asked(char *out, const char *text, struct err *e)
{
    for (size_t i = 0; i < sizeof named / sizeof named[0]; i++)
        if (strcmp(text, named[i].name) == 0) {
            *out = named[i].c;
            return TM_OK;
        }
    char c = text[0];
    bool one = c != '\0' && text[1] == '\0';
    bool word = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (unsigned char)c >= 0x80;
    if (!one || word || strchr("+-.\"\r\n#%", c))
        return err_set(e, TM_ERR_USAGE, NULL, 0, "--delimiter takes , ; tab space, or one sign such as |",
                       "'%.40s' can't be a delimiter", text);
    *out = c;
    return TM_OK;
}

/* Numbers less other fields, over the first rows that have at least two fields. */
static long score(char c, const struct peek *k, size_t from, size_t *most)
{
    struct field f[COLUMNS_MAX];
    long sum = 0;
    size_t rows = 0;
    *most = 0;
    for (size_t at = from; at < k->n && rows < SAMPLE_ROWS; rows++) {
        struct record r = record_take(k->p + at, k->n - at, c, k->final);
        if (r.kind == REC_MORE || r.kind == REC_LONG)
            break;
        at += r.used;
        if (r.kind != REC_ROW)
            continue;
        size_t n = record_split(&r, c, f, COLUMNS_MAX);
        if (n > COLUMNS_MAX)
            n = COLUMNS_MAX;
        if (n > *most)
            *most = n;
        for (size_t i = 0; n >= 2 && i < n; i++) {
            enum cell kind = cell_kind(f[i].p, f[i].n);
            sum += cell_is_data(kind) ? 1 : kind == CELL_TEXT ? -1 : 0;
        }
    }
    return sum;
}

int delimiter_find(char *out, const struct peek *k, size_t from, const struct import_opts *o, struct err *e)
{
    static const char candidates[] = "\t;, ";
    if (o->delimiter) {
        int rc = asked(out, o->delimiter, e);
        if (rc == TM_OK && o->decimal_comma && *out == ',')
            rc = err_set(e, TM_ERR_USAGE, NULL, 0, "give the delimiter that the file has: --delimiter ';'",
                         "with a decimal comma the delimiter can't be a comma");
        return rc;
    }
    long best = 0;
    size_t widest = 1;
    char by_width = ',';
    *out = '\0';
    for (const char *c = candidates; *c; c++) {
        if (*c == ',' && o->decimal_comma)
            continue;
        size_t most;
        long s = score(*c, k, from, &most);
        if (s > best) {
            best = s;
            *out = *c;
        }
        if (most > widest) {
            widest = most;
            by_width = *c;
        }
    }
    if (*out == '\0')
        *out = by_width;
    return TM_OK;
}
