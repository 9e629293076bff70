/* Opening delimited text: the first bytes tell layout, columns, units and rate, or why they can't. */
#include "ingest/import/text_internal.h"

#include "ingest/rfc3339.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE_MIN 25.0
#define RATE_MAX 1000.0

void import_opts_defaults(struct import_opts *o)
{
    memset(o, 0, sizeof *o);
    o->rate_hz = (double)NAN;
}

/* Stamps of the first rows, up to the first fall. */
static int first_stamps(const struct text_reader *r, const struct layout *l, const struct peek *k, int64_t *t)
{
    struct row row;
    struct row_fault fault;
    int n = 0, faults;
    for (size_t at = l->data_from; at < k->n && n < PEEK_ROWS;) {
        struct record rec = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (rec.kind == REC_MORE || rec.kind == REC_LONG)
            break;
        at += rec.used;
        if (rec.kind != REC_ROW || !row_careful(&r->plan, &rec, &row, &fault, 1, &faults))
            continue;
        if (n > 0 && row.stamp_ns < t[n - 1])
            break;
        t[n++] = row.stamp_ns;
    }
    return n;
}

static int check_rate(struct text_reader *r, const struct import_opts *o, double hz, struct err *e)
{
    double left = hz / (double)r->average;
    if (left > RATE_MAX * 1.001)
        return err_set(e, TM_ERR_INPUT, r->path, 0, "average samples together, e.g. --average 2",
                       "%.0f samples a second are more than 1000", left);
    if (left < RATE_MIN * 0.98)
        return err_set(e, TM_ERR_INPUT, r->path, 0,
                       r->map.bare_time ? "is the time in milliseconds? --time-unit ms; else record at 25 Hz or more"
                                        : "record at 25 Hz or more",
                       "%.3g samples a second are fewer than 25%s", left,
                       r->map.bare_time && !o->time_unit ? ", if the column of time is in seconds" : "");
    return TM_OK;
}

static int rate_from_stamps(struct text_reader *r, const struct layout *l, const struct peek *k,
                            const struct import_opts *o, struct err *e)
{
    int64_t *t = malloc(PEEK_ROWS * sizeof *t);
    if (!t)
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    struct pace p;
    int n = first_stamps(r, l, k, t);
    pace_find(t, n, &p);
    free(t);
    if (p.steps == 0)
        return err_set(e, TM_ERR_INPUT, r->path, l->lines + 1,
                       "check the column of time (--columns), or give the rate: --rate 100",
                       n > 0 ? "time does not move on" : "no row of samples could be read");
    if (p.repeats > p.steps)
        return err_set(e, TM_ERR_INPUT, r->path, l->lines + 1, "give the sampling rate: --rate 100",
                       "the stamps are too coarse: %d of %d rows repeat the one before", p.repeats,
                       p.repeats + p.steps);
    r->info.regular = p.regular;
    r->info.rate_num = p.rate_num;
    r->info.rate_den = p.rate_den * r->average;
    r->info.gap_limit_ns = pace_gap_limit_ns(p.regular, r->average * (p.regular ? (p.gap_limit_ns * 2 / 3) : p.median_ns));
    if (!p.regular)
        notice_send(&r->sink, NOTICE_NOTE, "jitter", r->path, 0, "",
                    "steps of time vary: %.2f, %.2f and %.2f ms (least, median, most) over the first rows; "
                    "each sample keeps its own time",
                    (double)p.min_ns * 1e-6, (double)p.median_ns * 1e-6, (double)p.max_ns * 1e-6);
    return check_rate(r, o, (double)p.rate_num / (double)p.rate_den, e);
}

static int rate_from_option(struct text_reader *r, const struct import_opts *o, bool had_time, struct err *e)
{
    if (!(o->rate_hz > 0 && o->rate_hz < 1e6))
        return err_set(e, TM_ERR_USAGE, NULL, 0, "e.g. --rate 100", "--rate is not a rate in Hz");
    r->rate_hz = o->rate_hz;
    r->info.regular = true;
    r->info.clock = CLOCK_RATE_ONLY;
    bool whole = o->rate_hz == (double)(int64_t)o->rate_hz;
    r->info.rate_num = whole ? (int64_t)o->rate_hz : (int64_t)(o->rate_hz * 1000 + 0.5);
    r->info.rate_den = (whole ? 1 : 1000) * r->average;
    r->info.gap_limit_ns = pace_gap_limit_ns(true, (int64_t)(1e9 / o->rate_hz * (double)r->average));
    if (had_time)
        notice_send(&r->sink, NOTICE_NOTE, "rate_wins", r->path, 0, "", "times are counted from --rate %g; the file's own stamps are not used", o->rate_hz);
    return check_rate(r, o, o->rate_hz, e);
}

static void fill_info(struct text_reader *r, const struct import_opts *o)
{
    const struct mapping *m = &r->map;
    for (int c = 0; c < CH_N; c++) {
        if (m->of[c].column < 0)
            continue;
        struct channel_info *ch = &r->info.channel[c];
        ch->present = true;
        strncpy(ch->unit, m->of[c].unit->ucum, sizeof ch->unit - 1);
        memcpy(ch->gas, m->of[c].gas, sizeof ch->gas);
    }
    r->info.flow_uncalibrated = m->of[CH_FLOW].unit->uncalibrated;
    int64_t at;
    int offset;
    if (o->start && rfc3339_parse(o->start, strlen(o->start), &at, &offset)) {
        r->info.start_known = r->date_taken = true;
        r->info.start_unix_ns = at;
        r->info.start_offset_min = offset;
        (void)rfc3339_format(r->info.start, at, offset, 3);
    }
}

static int peek_window(struct text_reader *r, struct peek *k, struct err *e)
{
    bool grew = true;
    while (grew && r->w.to - r->w.from < PEEK_BYTES) {
        int rc = window_more(&r->w, &grew, e);
        if (rc != TM_OK)
            return rc;
    }
    *k = (struct peek){.p = r->w.buf + r->w.from, .n = r->w.to - r->w.from,
                       .final = r->w.end || r->w.at_break, .file = r->path};
    if (k->n == 0)
        return err_set(e, TM_ERR_INPUT, r->path, 0, "give a recording", "the file is empty");
    return TM_OK;
}

static int look(struct text_reader *r, const struct import_opts *o, struct layout *l, struct err *e)
{
    struct peek k;
    int rc = peek_window(r, &k, e);
    if (rc == TM_OK)
        rc = layout_find(l, &k, o, e);
    if (rc == TM_OK)
        rc = mapping_find(&r->map, l, &k, o, e);
    if (rc != TM_OK)
        return rc;
    row_plan_make(&r->plan, l, &r->map);
    r->average = o->average > 1 ? o->average : 1;
    fill_info(r, o);
    if (l->passed_over)
        notice_send(&r->sink, NOTICE_NOTE, "passed_over", r->path, 0, "",
                    "%llu lines before the samples were passed over", (unsigned long long)l->passed_over);
    rc = o->rate_hz > 0 ? rate_from_option(r, o, r->map.time >= 0, e) : rate_from_stamps(r, l, &k, o, e);
    r->plain_rows = l->delimiter != ' ' && l->point == '.' && r->plan.places != -1;
    r->line = l->lines;
    r->w.from += l->data_from;
    return rc;
}



static const struct recording_info *text_info(const void *self)
{
    return &((const struct text_reader *)self)->info;
}

static bool text_closed_well(const void *self)
{
    (void)self; /* text has no closing line: nothing says that it was not cut */
    return true;
}

static void text_close(void *self)
{
    struct text_reader *r = self;
    if (r)
        window_free(&r->w);
    free(r);
}

static enum src_rc text_next(void *self, struct item *out, struct err *e)
{
    return text_reader_next(self, out, e);
}

static const struct source_ops text_ops = {
    .format = "text", .next = text_next, .info = text_info, .closed_well = text_closed_well, .close = text_close,
};



int text_reader_new(void **self, const struct source_ops **ops, struct bytes *b, const char *path,
                    const struct import_opts *o, const struct notice_sink *sink, struct err *e)
{
    struct text_reader *r = calloc(1, sizeof *r);
    struct layout *l = calloc(1, sizeof *l);
    int rc = r && l ? window_init(&r->w, b, e) : err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    if (rc == TM_OK) {
        r->path = path;
        if (sink)
            r->sink = *sink;
        recording_info_defaults(&r->info);
        r->last_ns = -1;
        rc = look(r, o, l, e);
    }
    free(l);
    if (rc != TM_OK) {
        text_close(r);
        return rc;
    }
    *self = r;
    *ops = &text_ops;
    return TM_OK;
}
