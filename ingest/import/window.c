#include "ingest/import/window.h"

#include <stdlib.h>
#include <string.h>

#define SLICE (32u << 10) /* let in at once: small enough to stay in the nearest caches */

int window_init(struct window *w, struct bytes *b, struct err *e)
{
    memset(w, 0, sizeof *w);
    w->bytes = b;
    w->whole_members = true;
    w->last = '\n';
    w->buf = calloc(1, WINDOW_CAP + WINDOW_SLACK);
    if (!w->buf)
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    return TM_OK;
}

void window_free(struct window *w)
{
    free(w->buf);
    w->buf = NULL;
}

static int next_chunk(struct window *w, struct err *e)
{
    switch (bytes_next(w->bytes, &w->chunk, e)) {
    case BYTES_END:
        w->end = true;
        return TM_OK;
    case BYTES_ERR:
        return TM_ERR_SYSTEM;
    case BYTES_DATA:
        break;
    }
    w->have_chunk = true;
    w->chunk_used = 0;
    if (w->chunk.after_break)
        w->at_break = true;
    else if (w->chunk.starts_member && w->last != '\n')
        w->whole_members = false;
    return TM_OK;
}

int window_more(struct window *w, bool *grew, struct err *e)
{
    *grew = false;
    while (!w->end && !w->at_break && (!w->have_chunk || w->chunk_used == w->chunk.n)) {
        w->have_chunk = false;
        int rc = next_chunk(w, e);
        if (rc != TM_OK)
            return rc;
    }
    if (w->end || w->at_break)
        return TM_OK;
    if (w->from > 0) {
        memmove(w->buf, w->buf + w->from, w->to - w->from);
        w->to -= w->from;
        w->lines_to = w->lines_to > w->from ? w->lines_to - w->from : 0;
        w->from = 0;
    }
    size_t n = w->chunk.n - w->chunk_used;
    if (n > SLICE)
        n = SLICE;
    if (n > WINDOW_CAP - w->to)
        n = WINDOW_CAP - w->to;
    if (n == 0)
        return TM_OK;
    memcpy(w->buf + w->to, w->chunk.data + w->chunk_used, n);
    for (size_t i = n; i > 0; i--)
        if (w->buf[w->to + i - 1] == '\n') {
            w->lines_to = w->to + i;
            break;
        }
    w->to += n;
    w->chunk_used += n;
    w->last = w->buf[w->to - 1];
    *grew = true;
    return TM_OK;
}

void window_pass_break(struct window *w, size_t *torn, bool *whole_line)
{
    *torn = w->to - w->from;
    *whole_line = w->chunk.starts_member && w->whole_members;
    w->from = w->to = w->lines_to = 0;
    w->at_break = false;
    w->last = '\n';
}
