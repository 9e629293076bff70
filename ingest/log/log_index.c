#include "ingest/log/log_index.h"

#include "ingest/bytes/bytes.h"
#include "ingest/log/head.h"
#include "ingest/log/log_read.h"

#include <stdlib.h>
#include <string.h>

static int add(struct log_index *x, uint64_t offset, int64_t t_ns, const char *path, struct err *e)
{
    if (x->n == x->cap) {
        size_t cap = x->cap ? 2 * x->cap : 512;
        if (cap > LOG_INDEX_MAX)
            return err_set(e, TM_ERR_INPUT, path, 0, "", "more than %d members", LOG_INDEX_MAX);
        struct log_index_entry *grown = realloc(x->entry, cap * sizeof *grown);
        if (!grown)
            return err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
        x->entry = grown;
        x->cap = cap;
    }
    x->entry[x->n++] = (struct log_index_entry){.offset = offset, .t_ns = t_ns};
    return TM_OK;
}

/* A member is known by its head and the first time line; *first_ns is where recording time 0 lies when the log's
 * own head does not say. */
static int take_member(struct log_index *x, const struct bytes_chunk *c, int64_t *first_ns, const char *path,
                       struct err *e)
{
    struct log_head head;
    char why[256], mend[256];
    log_head_init(&head);
    const char *p = c->data, *end = c->data + c->n;
    if (!log_looks_like(p, c->n))
        return TM_OK;
    while (p < end) {
        const char *lf = memchr(p, '\n', (size_t)(end - p));
        size_t n = (size_t)((lf ? lf : end) - p);
        struct line_time tl;
        enum line_kind kind = line_kind(p, n);
        if (kind == LINE_HEAD) {
            (void)log_head_line(&head, p, n, why, mend);
        } else if (kind == LINE_TIME && line_parse_time(p, n, &tl)) {
            if (x->n == 0)
                *first_ns = tl.t_ns;
            return add(x, c->offset, tl.t_ns - (head.has_origin ? head.origin_ns : *first_ns), path, e);
        }
        p = lf ? lf + 1 : end;
    }
    return TM_OK;
}

int log_index_build(struct log_index *out, const char *path, const struct notice_sink *sink, struct err *e)
{
    memset(out, 0, sizeof *out);
    struct bytes *b;
    int rc = bytes_open(&b, path, sink, e);
    if (rc != TM_OK)
        return rc;
    bytes_one_member(b);
    int64_t first_ns = 0;
    while (rc == TM_OK) {
        struct bytes_chunk c;
        enum bytes_rc br = bytes_next(b, &c, e);
        if (br == BYTES_END)
            break;
        rc = br == BYTES_ERR ? TM_ERR_SYSTEM : TM_OK;
        if (rc == TM_OK && c.starts_member)
            rc = take_member(out, &c, &first_ns, path, e);
    }
    bytes_close(b);
    if (rc != TM_OK)
        log_index_free(out);
    return rc;
}

const struct log_index_entry *log_index_find(const struct log_index *x, int64_t t_ns)
{
    size_t lo = 0, hi = x->n;
    while (lo < hi) {
        size_t mid = lo + (hi - lo) / 2;
        if (x->entry[mid].t_ns <= t_ns)
            lo = mid + 1;
        else
            hi = mid;
    }
    if (x->n == 0)
        return NULL;
    return &x->entry[lo > 0 ? lo - 1 : 0];
}

void log_index_free(struct log_index *x)
{
    free(x->entry);
    memset(x, 0, sizeof *x);
}
