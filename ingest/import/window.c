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
    w->data = w->buf;
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

/* Behind the last line feed of p[0 .. n); 0: there is none. */
static size_t behind_last_line(const char *p, size_t n)
{
    while (n > 0 && p[n - 1] != '\n')
        n--;
    return n;
}

/* What is unread, to the start of the buffer: the chunk may go away, or more has to come behind it. */
static void keep_rest(struct window *w)
{
    size_t n = w->to - w->from;
    if (n > 0 && w->data + w->from != w->buf)
        memmove(w->buf, w->data + w->from, n);
    w->lines_to = w->lines_to > w->from ? w->lines_to - w->from : 0;
    w->data = w->buf;
    w->from = 0;
    w->to = n;
}

/* Whole lines of the chunk, where they lie; false: there is none with the slack behind it. */
static bool lend(struct window *w, const char *p, size_t n)
{
    if (n <= WINDOW_SLACK)
        return false;
    n -= WINDOW_SLACK;
    n = behind_last_line(p, n < SLICE ? n : SLICE);
    if (n == 0)
        return false;
    w->data = p;
    w->to = w->lines_to = n;
    w->chunk_used += n;
    w->last = '\n';
    return true;
}

int window_more(struct window *w, bool *grew, struct err *e)
{
    *grew = false;
    keep_rest(w);
    while (!w->end && !w->at_break && (!w->have_chunk || w->chunk_used == w->chunk.n)) {
        w->have_chunk = false;
        int rc = next_chunk(w, e);
        if (rc != TM_OK)
            return rc;
    }
    if (w->end || w->at_break)
        return TM_OK;
    const char *p = w->chunk.data + w->chunk_used;
    size_t n = w->chunk.n - w->chunk_used;
    if (w->to == 0 && lend(w, p, n)) {
        *grew = true;
        return TM_OK;
    }
    if (n > SLICE)
        n = SLICE;
    if (n > WINDOW_CAP - w->to)
        n = WINDOW_CAP - w->to;
    if (n == 0)
        return TM_OK;
    /* Of a single line that was cut in two, the rest will do. */
    const char *line = w->to > 0 && w->lines_to == 0 ? memchr(p, '\n', n) : NULL;
    if (line)
        n = (size_t)(line - p) + 1;
    memcpy(w->buf + w->to, p, n);
    size_t lines = behind_last_line(p, n);
    if (lines > 0)
        w->lines_to = w->to + lines;
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
    w->data = w->buf;
    w->from = w->to = w->lines_to = 0;
    w->at_break = false;
    w->last = '\n';
}
