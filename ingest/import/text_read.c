/* Rows to blocks of samples: plain rows the fast way, all others the careful way, and what lies between them. */
#include "ingest/import/text_internal.h"

#include <math.h>
#include <string.h>

/* How long a hole is taken to be where nothing tells: long enough to end a breath. */
#define UNKNOWN_HOLE_NS NS_PER_S

static void take_plain(struct text_reader *r, struct sample_block *b, size_t cap)
{
    struct window *w = &r->w;
    if (w->lines_to <= w->from)
        return;
    struct row_out out = {.t_ns = b->t_ns, .n = b->n, .cap = cap};
    for (int c = 0; c < CH_N; c++)
        out.v[c] = b->v[c];
    out.v[USE_FLOW_OUT] = r->flow_out;
    const char *p = rows_fast(&r->plan, &r->clock, w->data + w->from, w->data + w->lines_to, &out);
    r->line += out.n - b->n;
    r->rows += out.n - b->n;
    r->tally[TALLY_EMPTY] += out.empty;
    b->n = out.n;
    w->from = (size_t)(p - w->data);
}

/* Bytes were lost: what follows does not belong to what came before. */
static void pass_break(struct text_reader *r)
{
    size_t torn;
    bool whole_line;
    window_pass_break(&r->w, &torn, &whole_line);
    r->passing = !whole_line; /* the rest of a line whose start was lost */
    say_cut(r, torn);
    r->gap_pending = true;
    r->mean.have = 0;
    if (r->plan.time < 0)
        r->clock.grid.t_ns += UNKNOWN_HOLE_NS;
}

static int more(struct text_reader *r, struct err *e)
{
    bool grew, knew_end = r->w.end;
    int rc = window_more(&r->w, &grew, e);
    if (rc != TM_OK || grew)
        return rc;
    if (r->w.at_break)
        pass_break(r);
    else
        r->done = knew_end; /* else a last line without its end is still to be taken */
    return TM_OK;
}

/* One record the careful way, or more bytes where there is no whole one. */
static int step(struct text_reader *r, struct sample_block *b, struct err *e)
{
    struct window *w = &r->w;
    const char *p = w->data + w->from;
    size_t n = w->to - w->from;
    bool final = w->end;
    if (r->passing) {
        bool passed;
        size_t used = record_pass(p, n, final, &passed);
        w->from += used;
        r->passing = !passed;
        r->line += passed && used > 0;
        return passed && n > 0 ? TM_OK : more(r, e);
    }
    struct record rec = record_take(p, n, r->plan.delimiter, final);
    if (rec.kind == REC_MORE)
        return more(r, e);
    w->from += rec.used;
    if (!text_take_record(r, &rec, b))
        r->done = true;
    return TM_OK;
}

/* Flow from two columns: what is left between them, without the dust that binary subtraction leaves. */
static void subtract(struct text_reader *r, struct sample_block *b, size_t from)
{
    double *flow = b->v[CH_FLOW];
    for (size_t i = from; i < b->n; i++) {
        double d = flow[i] - r->flow_out[i];
        double factor = r->plan.factor[CH_FLOW];
        double whole = nearbyint(d / factor * r->difference_scale) / r->difference_scale * factor;
        flow[i] = fabs(whole - d) <= 1e-12 * (fabs(flow[i]) + fabs(r->flow_out[i])) ? whole : d;
    }
}

/* Rows into b until it holds cap, something else is due, or the data end. */
static int fill(struct text_reader *r, struct sample_block *b, size_t cap, struct err *e)
{
    size_t first = b->n;
    while (!r->done && !r->gap_pending && b->n < cap) {
        bool fast = r->plan.may_be_fast && !r->passing && (r->started || r->plan.time < 0);
        size_t had = b->n;
        if (fast)
            take_plain(r, b, cap);
        if (b->n > had || b->n == cap)
            continue;
        int rc = step(r, b, e);
        if (rc != TM_OK)
            return rc;
    }
    if (r->difference_scale > 0)
        subtract(r, b, first);
    return TM_OK;
}

static int fill_averaged(struct text_reader *r, struct err *e)
{
    int64_t last_ns = r->clock.last_ns;
    while (!r->done && !r->gap_pending && r->block.n < BLOCK_CAP) {
        r->raw->n = 0;
        r->raw->channels = r->block.channels;
        int rc = fill(r, r->raw, BLOCK_CAP - r->block.n, e);
        if (rc != TM_OK)
            return rc;
        average_rows(&r->mean, r->raw, r->clock.limit_ns, &r->block, &last_ns);
    }
    return TM_OK;
}

static void put_gap(struct text_reader *r, struct item *out)
{
    r->gap_pending = false;
    *out = (struct item){.kind = ITEM_GAP};
    out->gap.from_ns = r->rows > 0 ? r->clock.last_ns : -1;
    out->gap.to_ns = -1;
    strcpy(out->gap.reason, "damaged");
}

enum src_rc text_next(void *self, struct item *out, struct err *e)
{
    struct text_reader *r = self;
    struct sample_block *b = &r->block;
    if (r->gap_pending && !r->done) {
        put_gap(r, out);
        return SRC_ITEM;
    }
    b->n = 0;
    int rc = r->raw ? fill_averaged(r, e) : fill(r, b, BLOCK_CAP, e);
    if (b->n == 0 && rc != TM_OK)
        return SRC_ERR;
    if (b->n == 0 && r->gap_pending && !r->done) {
        put_gap(r, out);
        return SRC_ITEM;
    }
    if (b->n == 0) {
        if (!r->ended)
            say_end(r);
        r->ended = true;
        return SRC_END;
    }
    *out = (struct item){.kind = ITEM_SAMPLES, .samples = b};
    return SRC_ITEM;
}
