#include "ingest/log/log_read.h"

#include "ingest/log/log_read_internal.h"

#include <stdlib.h>
#include <string.h>

bool log_looks_like(const char *data, size_t n)
{
    static const char magic[] = "%tidemark";
    return n >= sizeof magic - 1 && memcmp(data, magic, sizeof magic - 1) == 0;
}

static void long_line(struct log_reader *r, char first)
{
    notice_send(&r->sink, NOTICE_WRONG, "long_line", r->path, r->line, "",
                "a line is longer than %d bytes: it is not read", LINE_MAX_BYTES);
    if (line_kind(&first, 1) == LINE_SAMPLE && r->have_head)
        reader_missing_sample(r);
}

/* Takes up lines of the chunk until something is ready to be handed on. */
static void take_lines(struct log_reader *r)
{
    while (!r->ready && !r->gap_ready && !r->over && !r->failed) {
        const char *p;
        size_t n;
        if (r->feed.carry_n == 0 && !r->feed.too_long)
            r->feed.p = reader_fast_samples(r, r->feed.p, r->feed.end);
        enum feed_rc rc = line_feed_next(&r->feed, &p, &n);
        if (rc == FEED_MORE)
            return;
        r->line++;
        if (rc == FEED_LONG)
            long_line(r, *p);
        else
            reader_line(r, p, n);
    }
}

/* Members were lost: what is gathered was good; the line under way is worthless. */
static void on_break(struct log_reader *r)
{
    line_feed_break(&r->feed);
    r->lost = true;
    r->say_lost = true;
    r->count_unknown = true;
    r->since = 0;
    r->timed = false;
    if (r->have_head)
        reader_release(r, !r->overflow); /* nothing is in the way: all before the chunk was handed on */
    reader_gap_due(r, "damaged", 7);
}

static enum src_rc next_chunk(struct log_reader *r, struct err *e)
{
    struct bytes_chunk c;
    switch (bytes_next(r->bytes, &c, e)) {
    case BYTES_DATA:
        line_feed_chunk(&r->feed, c.data, c.n);
        if (c.after_break)
            on_break(r);
        return SRC_ITEM;
    case BYTES_END:
        return SRC_END;
    default:
        return SRC_ERR;
    }
}

/* The next thing that is ready; false: nothing is. */
static bool hand_on(struct log_reader *r, struct item *out)
{
    if (r->ready) {
        struct sample_block *b = &r->block;
        if (r->sent > 0) {
            /* What was handed on before a mark makes room for what follows it. */
            memmove(b->t_ns, b->t_ns + r->sent, r->left * sizeof b->t_ns[0]);
            for (int c = 0; c < CH_N; c++)
                if (b->channels >> c & 1)
                    memmove(b->v[c], b->v[c] + r->sent, r->left * sizeof b->v[c][0]);
            b->n = r->left;
            for (size_t i = r->marks_sent; i < r->n_marks; i++)
                r->marks[i].at -= r->sent;
            r->sent = 0;
        }
        if (r->marks_sent < r->n_marks && r->marks[r->marks_sent].at == 0) {
            out->kind = ITEM_MARK;
            out->mark = r->marks[r->marks_sent++].mark;
            return true;
        }
        if (b->n > 0) {
            r->sent = r->marks_sent < r->n_marks ? r->marks[r->marks_sent].at : b->n;
            r->left = b->n - r->sent;
            b->n = r->sent;
            out->kind = ITEM_SAMPLES;
            out->samples = b;
            return true;
        }
        r->ready = false;
        r->n_marks = 0;
    }
    if (r->gap_ready) {
        r->gap_ready = false;
        out->kind = ITEM_GAP;
        out->gap = r->gap;
        return true;
    }
    return false;
}

static enum src_rc reader_next(void *self, struct item *out, struct err *e)
{
    struct log_reader *r = self;
    for (;;) {
        if (hand_on(r, out))
            return SRC_ITEM;
        if (r->over)
            return SRC_END;
        if (r->feed.p == r->feed.end) {
            enum src_rc rc = next_chunk(r, e);
            if (rc == SRC_ERR)
                return rc;
            if (rc == SRC_END) {
                reader_finish(r);
                continue;
            }
            if (r->ready)
                continue;
        }
        take_lines(r);
    }
}

static const struct recording_info *reader_info(const void *self)
{
    return &((const struct log_reader *)self)->info;
}

static bool reader_closed_well(const void *self)
{
    return ((const struct log_reader *)self)->closed_well;
}

static void reader_close(void *self)
{
    free(self);
}

static const struct source_ops reader_ops = {
    .format = "log",
    .next = reader_next,
    .info = reader_info,
    .closed_well = reader_closed_well,
    .close = reader_close,
};

/* Reads up to the end of the first head. */
static int read_head(struct log_reader *r, struct err *e)
{
    while (!r->have_head && !r->failed) {
        if (r->feed.p == r->feed.end) {
            enum src_rc rc = next_chunk(r, e);
            if (rc == SRC_ERR)
                return TM_ERR_SYSTEM;
            if (rc == SRC_END) {
                reader_head_done(r);
                break;
            }
        }
        take_lines(r);
    }
    if (r->failed && e)
        *e = r->fault;
    return r->failed ? TM_ERR_INPUT : TM_OK;
}

int log_reader_new(void **self, const struct source_ops **ops, struct bytes *b, const char *path,
                   const struct notice_sink *sink, struct err *e)
{
    struct log_reader *r = calloc(1, sizeof *r);
    if (!r)
        return err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    r->bytes = b;
    r->path = path;
    if (sink)
        r->sink = *sink;
    r->last_ns = -1;
    r->sent_ns = -1;
    r->in_head = true;
    if (bytes_start_offset(b) > 0) { /* from a member within: what was before is not missed */
        r->count_unknown = true;
        r->lost = true;
    }
    log_head_init(&r->next);
    int rc = read_head(r, e);
    if (rc != TM_OK) {
        free(r);
        return rc;
    }
    *self = r;
    *ops = &reader_ops;
    return TM_OK;
}
