#include "tests/import/reading.h"

#include "ingest/import/text_read.h"

#include <stdlib.h>
#include <string.h>

static void hear(void *user, const struct notice *n)
{
    struct reading *r = user;
    if (r->n_said < SAID_MAX) {
        r->said[r->n_said] = *n;
        r->said[r->n_said].file = NULL;
    }
    r->n_said++;
}

static void keep(struct reading *r, const struct sample_block *b)
{
    if (r->n + b->n > r->cap) {
        r->cap = (r->n + b->n) * 2;
        r->t_ns = realloc(r->t_ns, r->cap * sizeof *r->t_ns);
        for (int c = 0; c < CH_N; c++)
            r->v[c] = realloc(r->v[c], r->cap * sizeof *r->v[c]);
    }
    memcpy(r->t_ns + r->n, b->t_ns, b->n * sizeof *r->t_ns);
    for (int c = 0; c < CH_N; c++)
        if (b->channels >> c & 1)
            memcpy(r->v[c] + r->n, b->v[c], b->n * sizeof *r->v[c]);
        else
            memset(r->v[c] + r->n, 0, b->n * sizeof *r->v[c]);
    r->n += b->n;
}

struct reading *read_parts(const struct fake_part *parts, size_t n, const struct import_opts *o, size_t most,
                           uint32_t seed)
{
    struct reading *r = calloc(1, sizeof *r);
    struct bytes *b = fake_bytes(parts, n, most, seed);
    struct import_opts defaults;
    struct notice_sink sink = {hear, r};
    void *self;
    const struct source_ops *ops;
    struct item item;
    if (!r)
        abort();
    import_opts_defaults(&defaults);
    r->end = SRC_ERR;
    r->rc = text_reader_new(&self, &ops, b, "test.csv", o ? o : &defaults, &sink, &r->err);
    if (r->rc == TM_OK) {
        while ((r->end = ops->next(self, &item, &r->err)) == SRC_ITEM) {
            if (item.kind == ITEM_SAMPLES) {
                keep(r, item.samples);
            } else if (item.kind == ITEM_GAP) {
                r->gap = item.gap;
                r->gap_at = r->n;
                r->gaps++;
            }
        }
        r->info = *ops->info(self);
        ops->close(self);
    }
    bytes_close(b);
    return r;
}

struct reading *read_text(const char *text, size_t n, const struct import_opts *o)
{
    const struct fake_part part = {.data = text, .n = n, .starts_member = true};
    return read_parts(&part, 1, o, 0, 0);
}

const struct notice *reading_said(const struct reading *r, const char *code)
{
    for (size_t i = 0; i < r->n_said && i < SAID_MAX; i++)
        if (strcmp(r->said[i].code, code) == 0)
            return &r->said[i];
    return NULL;
}

size_t reading_count(const struct reading *r, const char *code)
{
    size_t n = 0;
    for (size_t i = 0; i < r->n_said && i < SAID_MAX; i++)
        n += strcmp(r->said[i].code, code) == 0;
    return n;
}

static bool same_bytes(const void *a, const void *b, size_t n)
{
    return n == 0 || memcmp(a, b, n) == 0;
}

bool reading_same(const struct reading *a, const struct reading *b)
{
    if (a->rc != b->rc || a->n != b->n || a->end != b->end || a->gaps != b->gaps || a->n_said != b->n_said ||
        a->gap_at != b->gap_at)
        return false;
    for (size_t i = 0; i < a->n_said && i < SAID_MAX; i++)
        if (strcmp(a->said[i].what, b->said[i].what) != 0 || a->said[i].line != b->said[i].line)
            return false;
    bool same = same_bytes(a->t_ns, b->t_ns, a->n * sizeof *a->t_ns);
    for (int c = 0; c < CH_N; c++)
        same = same && same_bytes(a->v[c], b->v[c], a->n * sizeof *a->v[c]);
    return same && same_bytes(&a->info, &b->info, sizeof a->info) && strcmp(a->err.what, b->err.what) == 0;
}

void reading_free(struct reading *r)
{
    if (!r)
        return;
    free(r->t_ns);
    for (int c = 0; c < CH_N; c++)
        free(r->v[c]);
    free(r);
}
