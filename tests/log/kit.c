#include "tests/log/kit.h"

#include "ingest/log/log_read.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int memory_write(void *user, const void *data, size_t n)
{
    struct memory *m = user;
    if (m->n + n > m->cap) {
        m->cap = 2 * (m->n + n);
        m->data = realloc(m->data, m->cap);
        if (!m->data)
            abort();
    }
    memcpy(m->data + m->n, data, n);
    m->n += n;
    return TM_OK;
}

void memory_free(struct memory *m)
{
    free(m->data);
    memset(m, 0, sizeof *m);
}

static void take_samples(struct got *g, const struct sample_block *b)
{
    if (b->n == 0 || b->n > BLOCK_CAP)
        abort(); /* the contract */
    if (g->n + b->n > g->cap) {
        g->cap = 2 * (g->n + b->n);
        g->sample = realloc(g->sample, g->cap * sizeof *g->sample);
        if (!g->sample)
            abort();
    }
    for (size_t i = 0; i < b->n; i++) {
        struct got_sample *s = &g->sample[g->n++];
        s->t_ns = b->t_ns[i];
        if (g->n > 1 && s->t_ns <= s[-1].t_ns)
            abort(); /* samples strictly rise, whatever the input */
        for (int c = 0; c < CH_N; c++)
            s->v[c] = b->channels >> c & 1 ? b->v[c][i] : (double)NAN;
    }
}

static void take(struct got *g, const struct item *it)
{
    if (it->kind == ITEM_SAMPLES) {
        take_samples(g, it->samples);
    } else if (it->kind == ITEM_GAP) {
        if (g->gaps < 64)
            g->gap[g->gaps] = it->gap;
        if (it->gap.to_ns >= 0)
            g->gap_s += (double)(it->gap.to_ns - (it->gap.from_ns < 0 ? 0 : it->gap.from_ns)) / 1e9;
        g->gaps++;
    } else {
        if (g->marks < 64) {
            g->mark[g->marks] = it->mark;
            g->mark_at[g->marks] = g->n;
        }
        g->marks++;
    }
}

void read_log(struct got *g, const char *path, uint64_t offset)
{
    memset(g, 0, sizeof *g);
    g->rc = SRC_GONE;
    struct notice_sink sink = heard_sink(&g->heard);
    struct bytes *b;
    void *self;
    const struct source_ops *ops;
    if (bytes_open_at(&b, path, offset, &sink, &g->e) != TM_OK)
        return;
    if (log_reader_new(&self, &ops, b, path, &sink, &g->e) == TM_OK) {
        struct item it;
        while ((g->rc = ops->next(self, &it, &g->e)) == SRC_ITEM)
            take(g, &it);
        g->info = *ops->info(self);
        g->closed_well = ops->closed_well(self);
        ops->close(self);
    }
    bytes_close(b);
}

void read_memory(struct got *g, const void *data, size_t n)
{
    char path[64];
    make_file(path, data, n);
    read_log(g, path, 0);
    (void)unlink(path);
}

void got_free(struct got *g)
{
    free(g->sample);
    g->sample = NULL;
}

struct recording_info plain_info(void)
{
    struct recording_info in;
    recording_info_defaults(&in);
    in.channel[CH_PAW] = (struct channel_info){.present = true, .decimals = 2};
    in.channel[CH_FLOW] = (struct channel_info){.present = true, .decimals = 3};
    in.regular = true;
    in.rate_num = 100;
    in.rate_den = 1;
    in.gap_limit_ns = 15000000;
    return in;
}

uint64_t rnd(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}
