#include "analyze/program/marks_file.h"
#include "ingest/decimal.h"
#include "ingest/rfc3339.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CELLS_MAX 16

/* Cuts a line into cells in place. Returns their number, -1 if a quote is never closed or text follows one. */
static int cut(char *line, char *cell[CELLS_MAX])
{
    int n = 0;
    char *p = line;
    for (;;) {
        if (n == CELLS_MAX)
            return n;
        char *w = p;
        cell[n++] = p;
        if (*p == '"') {
            for (p++;; p++) {
                if (!*p)
                    return -1;
                if (*p == '"' && *++p != '"')
                    break;
                *w++ = *p;
            }
            if (*p && *p != ',')
                return -1;
        } else {
            p += strcspn(p, ",");
            w = p;
        }
        const bool more = *p == ',';
        *w = '\0';
        if (!more)
            return n;
        p++;
    }
}

/* key=value text of a mark is percent-encoded as in the log. */
static void encode(char out[MARK_TEXT_MAX], const char *s)
{
    static const char hex[] = "0123456789ABCDEF";
    size_t n = 0;
    if (*s) {
        memcpy(out, "text=", 5);
        n = 5;
    }
    for (; *s && n + 4 < MARK_TEXT_MAX; s++) {
        const unsigned char u = (unsigned char)*s;
        if (u > 0x20 && u != 0x7f && u != '%' && u != ';' && u != '=') {
            out[n++] = (char)u;
            continue;
        }
        out[n++] = '%';
        out[n++] = hex[u >> 4];
        out[n++] = hex[u & 15];
    }
    out[n] = '\0';
}

struct layout {
    int at, time, kind, text; /* cells; -1: none */
};

static int read_header(struct layout *l, char *cell[], int n)
{
    *l = (struct layout){-1, -1, -1, -1};
    for (int i = 0; i < n; i++) {
        if (strcmp(cell[i], "at_s") == 0)
            l->at = i;
        else if (strcmp(cell[i], "time") == 0)
            l->time = i;
        else if (strcmp(cell[i], "kind") == 0)
            l->kind = i;
        else if (strcmp(cell[i], "text") == 0)
            l->text = i;
    }
    return (l->at >= 0) != (l->time >= 0) && l->kind >= 0 ? TM_OK : TM_ERR_INPUT;
}

static int read_row(struct mark *m, const struct layout *l, char *cell[], int n, const struct recording_info *info)
{
    const int last = l->at > l->time ? l->at : l->time;
    if (n <= last || n <= l->kind)
        return TM_ERR_INPUT;
    if (l->at >= 0) {
        const char *s = cell[l->at], *end = s + strlen(s);
        if (decimal_scan_ns(s, end, &m->at_ns) != end)
            return TM_ERR_INPUT;
    } else {
        int64_t unix_ns;
        if (!rfc3339_parse(cell[l->time], strlen(cell[l->time]), &unix_ns, NULL))
            return TM_ERR_INPUT;
        m->at_ns = unix_ns - info->start_unix_ns;
    }
    const char *kind = cell[l->kind];
    if (!kind[0] || strlen(kind) >= sizeof m->kind || strpbrk(kind, " \t;=%"))
        return TM_ERR_INPUT;
    memcpy(m->kind, kind, strlen(kind) + 1);
    m->entered_ns = -1;
    encode(m->text, l->text >= 0 && n > l->text ? cell[l->text] : "");
    return TM_OK;
}

static void insert(struct marks *m, const struct mark *x)
{
    size_t i = m->n++;
    for (; i > 0 && m->mark[i - 1].at_ns > x->at_ns; i--)
        m->mark[i] = m->mark[i - 1];
    m->mark[i] = *x;
}

static int read_all(struct marks *m, FILE *f, const char *path, const struct recording_info *info, struct err *e)
{
    char line[2048];
    char *cell[CELLS_MAX];
    struct layout l = {-1, -1, -1, -1};
    bool header = false;
    for (uint64_t no = 1; fgets(line, sizeof line, f); no++) {
        const size_t len = strlen(line);
        if (len == sizeof line - 1 && line[len - 1] != '\n')
            return err_set(e, TM_ERR_INPUT, path, no, "", "the line is over %zu characters long", len);
        line[strcspn(line, "\r\n")] = '\0';
        char *start = no == 1 && strncmp(line, "\xef\xbb\xbf", 3) == 0 ? line + 3 : line;
        if (!*start)
            continue;
        const int n = cut(start, cell);
        if (!header) {
            if (n < 0 || read_header(&l, cell, n) != TM_OK)
                return err_set(e, TM_ERR_INPUT, path, no, "begin the file with the line at_s,kind,text or time,kind,text",
                               "the header of a marks file is missing");
            if (l.time >= 0 && !info->start_known)
                return err_set(e, TM_ERR_INPUT, path, no, "use at_s, or --start",
                               "marks have dates and times, but when the recording began is not known");
            header = true;
            continue;
        }
        if (m->n == MARKS_MAX)
            return err_set(e, TM_ERR_INPUT, path, no, "", "there are over %d marks", MARKS_MAX);
        struct mark x;
        memset(&x, 0, sizeof x);
        if (n < 0 || read_row(&x, &l, cell, n, info) != TM_OK)
            return err_set(e, TM_ERR_INPUT, path, no, "a time, then a kind of one word of at most 31 letters, then text",
                           "this is no mark");
        insert(m, &x);
    }
    return ferror(f) ? err_set(e, TM_ERR_SYSTEM, path, 0, "", "can't be read") : TM_OK;
}

int marks_load(struct marks **out, const char *path, const struct recording_info *info, struct err *e)
{
    FILE *f = fopen(path, "re");
    if (!f) {
        const int no = errno;
        (void)err_set(e, TM_ERR_INPUT, path, 0, "", "can't be opened");
        e->sys_errno = no;
        return TM_ERR_INPUT;
    }
    struct marks *m = calloc(1, sizeof *m);
    if (m)
        m->mark = calloc(MARKS_MAX, sizeof *m->mark);
    int rc = m && m->mark ? read_all(m, f, path, info, e) : err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    (void)fclose(f);
    if (rc != TM_OK) {
        marks_free(m);
        return rc;
    }
    *out = m;
    return TM_OK;
}

const struct mark *marks_next(struct marks *m, int64_t t_ns)
{
    return m->next < m->n && m->mark[m->next].at_ns < t_ns ? &m->mark[m->next++] : NULL;
}

void marks_free(struct marks *m)
{
    if (m)
        free(m->mark);
    free(m);
}
