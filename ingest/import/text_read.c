/* Rows to samples: times are made recording times, values program units, bad rows are told and cost themselves. */
#include "ingest/import/text_internal.h"

#include "ingest/rfc3339.h"

#include <math.h>
#include <string.h>

#define HALF_DAY_NS (12 * 3600 * NS_PER_S)
#define DAY_NS      (24 * 3600 * NS_PER_S)
#define FAULTS_TOLD 4

enum taken { TAKEN, DROPPED, STOPPED };

/* The first stamp may carry a date: then the recording's start is known. */
static void take_date(struct text_reader *r, const struct row *row)
{
    r->info.first_source_ns = row->stamp_ns;
    if (r->date_taken || !row->dated)
        return;
    r->date_taken = true;
    if (!row->offset_known)
        return;
    r->info.start_known = true;
    r->info.start_unix_ns = row->stamp_ns;
    r->info.start_offset_min = row->offset_min;
    (void)rfc3339_format(r->info.start, row->stamp_ns, row->offset_min, 3);
}

static enum taken falls(struct text_reader *r, int64_t t_ns)
{
    if (t_ns == r->last_ns) {
        r->repeats++;
        notice_send(&r->sink, NOTICE_WRONG, "repeated_time", r->path, r->line, "",
                    "the time of the row before again; the row is left out");
        return DROPPED;
    }
    notice_send(&r->sink, NOTICE_FATAL, "time_falls", r->path, r->line,
                "cut the file there, or recordings in one file apart",
                "time falls by %.3f s: the data end here, at %.3f s", (double)(r->last_ns - t_ns) * 1e-9,
                (double)r->last_ns * 1e-9);
    return STOPPED;
}

static enum taken take_time(struct text_reader *r, const struct row *row, int64_t *t_ns)
{
    if (r->map.time < 0) {
        *t_ns = (int64_t)((double)r->rows * (1e9 / r->rate_hz) + 0.5);
        r->any = true;
        return TAKEN;
    }
    if (!r->any) {
        r->any = true;
        r->first_ns = row->stamp_ns;
        take_date(r, row);
        *t_ns = 0;
        return TAKEN;
    }
    int64_t t = row->stamp_ns - r->first_ns + r->day_ns;
    if (t <= r->last_ns) {
        if (r->plan.stamp == STAMP_CLOCK && !row->dated && r->last_ns - t > HALF_DAY_NS) {
            r->day_ns += DAY_NS;
            t += DAY_NS;
        }
        if (t <= r->last_ns)
            return falls(r, t);
    }
    *t_ns = t;
    return TAKEN;
}

/* A value in program units; flow from two columns is inspired less expired. */
static void take_values(struct text_reader *r, const struct row *row, double v[CH_N])
{
    for (int c = 0; c < CH_N; c++) {
        const struct mapped *m = &r->map.of[c];
        if (m->column >= 0)
            v[c] = row->v[c] * m->unit->factor * m->sign;
    }
    const struct mapped *out = &r->map.of[USE_FLOW_OUT];
    if (out->column >= 0)
        v[CH_FLOW] -= row->v[USE_FLOW_OUT] * out->unit->factor * out->sign;
}

static void put_sample(struct text_reader *r, int64_t t_ns, const double v[CH_N])
{
    struct sample_block *b = &r->block;
    b->t_ns[b->n] = t_ns;
    for (int c = 0; c < CH_N; c++)
        if (b->channels >> c & 1)
            b->v[c][b->n] = v[c];
    b->n++;
}

/* Mean of `average` rows, at their middle; any value missing makes the mean missing. */
static void put_averaged(struct text_reader *r, int64_t t_ns, const double v[CH_N])
{
    if (r->in_mean > 0 && t_ns - r->last_ns > r->info.gap_limit_ns)
        r->in_mean = 0; /* never a mean across a hole */
    if (r->in_mean == 0) {
        r->mean_from_ns = t_ns;
        memset(r->sum, 0, sizeof r->sum);
    }
    for (int c = 0; c < CH_N; c++)
        r->sum[c] += r->block.channels >> c & 1 ? v[c] : 0;
    if (++r->in_mean < r->average)
        return;
    double mean[CH_N];
    for (int c = 0; c < CH_N; c++)
        mean[c] = r->sum[c] / (double)r->average;
    r->in_mean = 0;
    put_sample(r, r->mean_from_ns + (t_ns - r->mean_from_ns) / 2, mean);
}

static enum taken take_row(struct text_reader *r, const struct row *row)
{
    int64_t t_ns;
    enum taken taken = take_time(r, row, &t_ns);
    if (taken != TAKEN)
        return taken;
    if (r->last_ns >= 0 && t_ns - r->last_ns > r->info.gap_limit_ns) {
        r->holes++;
        r->hole_ns += t_ns - r->last_ns;
    }
    double v[CH_N];
    take_values(r, row, v);
    if (r->average > 1)
        put_averaged(r, t_ns, v);
    else
        put_sample(r, t_ns, v);
    r->last_ns = t_ns;
    r->rows++;
    return TAKEN;
}

static const char *kind_text(enum record_kind k)
{
    switch (k) {
    case REC_UNCLOSED:
        return "a quote that is never closed";
    case REC_STRAY:
        return "something behind a closing quote";
    case REC_BINARY:
        return "bytes that are no text";
    case REC_LONG:
        return "a line longer than any row of samples";
    default:
        return "a line that can't be read";
    }
}

/* One record, the careful way. */
static enum taken take_record(struct text_reader *r, const struct record *rec)
{
    uint64_t line = r->line + 1;
    r->line += rec->lines;
    if (rec->kind == REC_BLANK || rec->kind == REC_COMMENT)
        return DROPPED;
    if (rec->kind != REC_ROW) {
        notice_send(&r->sink, NOTICE_WRONG, "bad_line", r->path, line, "mend or remove the line",
                    "%s; the line is left out", kind_text(rec->kind));
        r->passing = rec->kind == REC_LONG;
        return DROPPED;
    }
    struct row row;
    struct row_fault fault[FAULTS_TOLD];
    int n;
    bool good = row_careful(&r->plan, rec, &row, fault, FAULTS_TOLD, &n);
    for (int i = 0; i < n && i < FAULTS_TOLD; i++)
        notice_send(&r->sink, NOTICE_WRONG, good ? "bad_value" : "bad_row", r->path, line, "correct or empty the field",
                    "column %d: %s: `%s`; %s", fault[i].column + 1, fault[i].what, fault[i].text,
                    good ? "taken as not measured" : "the row is left out");
    if (!good)
        return DROPPED;
    uint64_t after = r->line;
    r->line = line; /* what take_row says is said of this line */
    enum taken taken = take_row(r, &row);
    r->line = after;
    return taken;
}

/* Rows as fast as they come, as far as a line feed stands behind them. Stops at any surprise. */
static enum taken take_plain(struct text_reader *r, bool *moved)
{
    struct window *w = &r->w;
    const char *p = w->buf + w->from, *stop = w->buf + w->to;
    *moved = false;
    while (stop > p && stop[-1] != '\n')
        stop--;
    struct row row = {.has_stamp = true};
    for (int u = 0; u <= USE_FLOW_OUT; u++)
        row.v[u] = (double)NAN;
    while (p < stop && r->block.n < BLOCK_CAP) {
        const char *next = row_fast(&r->plan, p, &row);
        if (!next)
            break;
        p = next;
        r->line++;
        w->from = (size_t)(p - w->buf);
        *moved = true;
        if (take_row(r, &row) == STOPPED)
            return STOPPED;
    }
    return TAKEN;
}

static void say_end(struct text_reader *r)
{
    if (r->holes)
        notice_send(&r->sink, NOTICE_NOTE, "holes", r->path, 0, "", "%llu holes in the samples, %.2f s in all",
                    (unsigned long long)r->holes, (double)r->hole_ns * 1e-9);
}

/* More bytes; behind a loss, a fresh start; or the end. */
static int more(struct text_reader *r, struct err *e)
{
    struct window *w = &r->w;
    bool grew;
    int rc = window_more(w, &grew, e);
    if (rc != TM_OK || grew)
        return rc;
    if (w->at_break) {
        size_t torn;
        bool whole;
        window_pass_break(w, &torn, &whole);
        r->passing = !whole; /* the rest of a line whose start was lost */
    } else {
        r->done = true;
    }
    return TM_OK;
}

/* One record the careful way, or more bytes where there is no whole one. */
static int careful_step(struct text_reader *r, enum taken *taken, struct err *e)
{
    struct window *w = &r->w;
    bool final = w->end || w->at_break;
    const char *p = w->buf + w->from;
    size_t n = w->to - w->from;
    if (r->passing) {
        bool passed;
        w->from += record_pass(p, n, final, &passed);
        r->passing = !passed;
        r->line += passed;
        return passed ? TM_OK : more(r, e);
    }
    struct record rec = record_take(p, n, r->plan.delimiter, final);
    if (rec.kind == REC_MORE)
        return more(r, e);
    w->from += rec.used;
    *taken = take_record(r, &rec);
    return TM_OK;
}

enum src_rc text_reader_next(struct text_reader *r, struct item *out, struct err *e)
{
    r->block.n = 0;
    r->block.channels = 0;
    for (int c = 0; c < CH_N; c++)
        r->block.channels |= (uint32_t)(r->map.of[c].column >= 0) << c;
    while (!r->done && r->block.n < BLOCK_CAP) {
        enum taken taken = TAKEN;
        bool moved = false;
        if (r->plain_rows && !r->passing)
            taken = take_plain(r, &moved);
        if (taken != STOPPED && !moved && careful_step(r, &taken, e) != TM_OK)
            return SRC_ERR;
        if (taken == STOPPED)
            r->done = true;
        if (r->done)
            say_end(r);
    }
    if (r->block.n == 0)
        return SRC_END;
    *out = (struct item){.kind = ITEM_SAMPLES, .samples = &r->block};
    return SRC_ITEM;
}
