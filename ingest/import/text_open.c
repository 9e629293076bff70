/* Opening delimited text: the first bytes tell layout, columns, units and rate, or why they can't. */
#include "ingest/import/text_internal.h"

#include "ingest/decimal.h"
#include "ingest/import/delimiter.h"
#include "ingest/rfc3339.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void import_opts_defaults(struct import_opts *o)
{
    memset(o, 0, sizeof *o);
    o->rate_hz = (double)NAN;
}

/* Fills the window with what is looked at: the same bytes, whatever pieces they come in. */
static int look_ahead(struct text_reader *r, struct peek *k, struct err *e)
{
    struct window *w = &r->w;
    bool grew = true;
    while (grew && w->to - w->from < PEEK_BYTES) {
        int rc = window_more(w, &grew, e);
        if (rc != TM_OK)
            return rc;
    }
    size_t n = w->to - w->from;
    *k = (struct peek){.p = w->data + w->from, .n = n < PEEK_BYTES ? n : PEEK_BYTES, .file = r->path};
    k->final = (w->end || w->at_break) && k->n == n;
    return TM_OK;
}

static void describe_channels(struct text_reader *r, const struct mapping *m)
{
    struct recording_info *info = &r->info;
    for (int c = 0; c < CH_N; c++) {
        const struct mapped *from = &m->of[c];
        if (from->column < 0)
            continue;
        info->channel[c].present = true;
        (void)snprintf(info->channel[c].unit, sizeof info->channel[c].unit, "%s", from->unit->ucum);
        if (c == CH_FLOW || c == CH_VOLUME)
            (void)snprintf(info->channel[c].gas, sizeof info->channel[c].gas, "%s", from->gas);
        r->block.channels |= UINT32_C(1) << c;
    }
    info->flow_uncalibrated = m->of[CH_FLOW].unit->uncalibrated;
}

/* One line that says how the columns are read: nothing is assumed in silence. */
static void tell_columns(struct text_reader *r, const struct mapping *m, const struct layout *l)
{
    static const char *const stamps[] = {"none", "s, as its steps fit", "s", "ms", "us", "clock time", "date and time"};
    char text[240], name[COLUMN_TEXT];
    size_t n = (size_t)snprintf(text, sizeof text, "fields by %s", delimiter_name(l->delimiter));
    if (r->plan.time >= 0 && n < sizeof text)
        n += (size_t)snprintf(text + n, sizeof text - n, "; time: %s, %s", mapping_column(l, r->plan.time, name),
                              stamps[m->stamp]);
    for (int s = 0; s < (int)SLOTS && n < sizeof text; s++) {
        const struct mapped *c = &m->of[s];
        bool in = s == CH_FLOW && m->of[USE_FLOW_OUT].column >= 0;
        if (c->column >= 0)
            n += (size_t)snprintf(text + n, sizeof text - n, "; %s: %s, %s%s", in ? "flow_in" : use_name((enum use)s),
                                  mapping_column(l, c->column, name), c->unit->ucum, c->sign < 0 ? ", inverted" : "");
    }
    notice_send(&r->sink, NOTICE_NOTE, "columns", r->path, 0, "", "%s", text);
}

static int give_start(struct text_reader *r, const char *text, struct err *e)
{
    struct recording_info *info = &r->info;
    if (!text)
        return TM_OK;
    if (!rfc3339_parse(text, strlen(text), &info->start_unix_ns, &info->start_offset_min))
        return err_set(e, TM_ERR_USAGE, NULL, 0, "as 2026-03-04T22:30:00+01:00", "--start: '%.60s' is no date and time",
                       text);
    r->dated_start = info->start_known = true;
    (void)rfc3339_format(info->start, info->start_unix_ns, info->start_offset_min, 9);
    return TM_OK;
}

static int prepare(struct text_reader *r, const struct layout *l, const struct peek *k, const struct import_opts *o,
                   struct err *e)
{
    struct mapping m;
    const struct mapping_from from = {.layout = l, .peek = k, .opts = o, .sink = &r->sink};
    int rc = text_check_rate(o, e);
    if (rc == TM_OK)
        rc = mapping_find(&m, &from, e);
    if (rc == TM_OK)
        rc = give_start(r, o->start, e);
    if (rc != TM_OK)
        return rc;
    describe_channels(r, &m);
    row_plan_make(&r->plan, l, &m);
    rc = text_find_rate(r, l, k, o, e);
    if (rc != TM_OK)
        return rc;
    if (r->mean.per > 1 && !(r->raw = malloc(sizeof *r->raw)))
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    if (l->passed_over)
        notice_send(&r->sink, NOTICE_NOTE, "passed_over", r->path, 1, "",
                    "%llu lines before the samples are neither header nor comment: passed over",
                    (unsigned long long)l->passed_over);
    tell_columns(r, &m, l);
    return TM_OK;
}

static int look(struct text_reader *r, const struct import_opts *o, struct err *e)
{
    struct peek k;
    struct layout *l = malloc(sizeof *l);
    if (!l)
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    int rc = look_ahead(r, &k, e);
    if (rc == TM_OK)
        rc = layout_find(l, &k, o, e);
    if (rc == TM_OK)
        rc = prepare(r, l, &k, o, e);
    if (rc == TM_OK) {
        r->line = l->lines;
        r->w.from += l->data_from;
    }
    free(l);
    return rc;
}

static const struct recording_info *text_info(const void *self)
{
    return &((const struct text_reader *)self)->info;
}

static bool text_closed_well(const void *self)
{
    (void)self; /* text has no closing line that could be missing */
    return true;
}

static void text_close(void *self)
{
    struct text_reader *r = self;
    if (!r)
        return;
    window_free(&r->w);
    free(r->raw);
    free(r);
}

static const struct source_ops text_ops = {
    .format = "text", .next = text_next, .info = text_info, .closed_well = text_closed_well, .close = text_close};

int text_reader_new(void **self, const struct source_ops **ops, struct bytes *b, const char *path,
                    const struct import_opts *o, const struct notice_sink *sink, struct err *e)
{
    struct text_reader *r = calloc(1, sizeof *r);
    if (!r)
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    r->path = path;
    if (sink)
        r->sink = *sink;
    recording_info_defaults(&r->info);
    int rc = window_init(&r->w, b, e);
    if (rc == TM_OK)
        rc = look(r, o, e);
    if (rc != TM_OK) {
        text_close(r);
        return rc;
    }
    *self = r;
    *ops = &text_ops;
    return TM_OK;
}
