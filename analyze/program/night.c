#include "analyze/program/night.h"
#include "analyze/program/night_internal.h"
#include "ingest/rfc3339.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Keeps the first failure of an output apart from a failure of the analysis: they end in different exit statuses. */
static int note_output(struct night_run *r, int rc)
{
    if (rc != TM_OK)
        r->output_failed = true;
    return rc;
}

static bool inside(const struct night *n, int64_t t_ns)
{
    return t_ns >= n->from_ns && t_ns < n->to_ns;
}

static int on_row(void *user, const struct breath_row *b)
{
    struct night_run *r = user;
    if (r->n.o->breath > 0 && b->number == (uint64_t)r->n.o->breath) {
        row_print(&r->x, b);
        r->found = true;
        if (!r->dir && !r->n.o->glance && !r->n.o->json)
            return NIGHT_ENOUGH;
    }
    r->flags_inside = inside(&r->n, b->t0_ns);
    if (!r->flags_inside)
        return TM_OK;
    tally_breath(&r->n.tally, b);
    int rc = hours_breath(r->hours, b);
    if (rc == TM_OK && r->dir) {
        r->rows[TABLE_BREATHS]++;
        rc = note_output(r, csv_breath(r->cells[TABLE_BREATHS], &r->x, b));
    }
    return rc;
}

/* Flags follow their row: inside and outside the window with it. */
static int on_flag(void *user, const struct flag *f)
{
    struct night_run *r = user;
    if (!r->flags_inside)
        return TM_OK;
    tally_flag(&r->n.tally, f);
    hours_flag(r->hours, f);
    if (!r->dir)
        return TM_OK;
    r->rows[TABLE_FLAGS]++;
    return note_output(r, csv_flag(r->cells[TABLE_FLAGS], f));
}

static int on_event(void *user, const struct event *e)
{
    struct night_run *r = user;
    if (!inside(&r->n, e->start_ns))
        return TM_OK;
    tally_event(&r->n.tally, e);
    if (!r->dir)
        return TM_OK;
    r->rows[TABLE_EVENTS]++;
    return note_output(r, csv_event(r->cells[TABLE_EVENTS], e));
}

static int on_hour(void *user, const struct hour_row *h)
{
    struct night_run *r = user;
    if (!r->dir)
        return TM_OK;
    r->rows[TABLE_HOURS]++;
    return note_output(r, csv_hour(r->cells[TABLE_HOURS], r->n.info, h));
}

/* --from and --to: seconds of recording time, or date and time. */
static int read_time(const struct night_run *r, const char *name, const char *s, int64_t *out)
{
    if (!s)
        return EXIT_DONE;
    double v = 0;
    int64_t unix_ns;
    if (rfc3339_parse(s, strlen(s), &unix_ns, NULL)) {
        if (!r->n.info->start_known)
            return say_usage(r->n.o->cmd, "--%s: when the recording began is not known; give seconds", name);
        *out = unix_ns - r->n.info->start_unix_ns;
        return EXIT_DONE;
    }
    const int rc = args_number(r->n.o->args, name, 0, 9e9, &v);
    *out = (int64_t)(v * 1e3 + 0.5) * 1000000;
    return rc;
}

/* What needs to know when the recording began: once, at the first item. */
static int begin(struct night_run *r)
{
    const struct night_opts *o = r->n.o;
    struct err e;
    r->begun = true;
    int status = read_time(r, "from", o->from, &r->n.from_ns);
    if (status == EXIT_DONE)
        status = read_time(r, "to", o->to, &r->n.to_ns);
    if (status != EXIT_DONE)
        return status;
    if (r->n.from_ns >= r->n.to_ns)
        return say_usage(o->cmd, "--from %s is not before --to %s", o->from ? o->from : "", o->to ? o->to : "");
    if (o->marks && marks_load(&r->marks, o->marks, r->n.info, &e) != TM_OK) {
        say_error(o->cmd, &e);
        return EXIT_USAGE;
    }
    r->split = calloc(1, sizeof *r->split);
    if (!r->split || check_new(&r->check, r->n.info) != TM_OK ||
        hours_new(&r->hours, r->n.info, r->n.from_ns, r->n.to_ns, on_hour, r) != TM_OK)
        return night_memory(r);
    struct engine_opts eo = {.patient = o->patient, .pbw_kg = r->n.pbw.kg, .patterns = &o->patterns};
    /* Who has a predicted weight is as tall as an adult: small breaths make no infant of them. */
    if (eo.patient == PATIENT_UNKNOWN && r->n.info->patient == PATIENT_UNKNOWN && isfinite(eo.pbw_kg))
        eo.patient = PATIENT_ADULT;
    struct engine_sink sink = {.user = r, .row = on_row, .event = on_event, .flag = on_flag};
    return engine_new(&r->engine, r->n.info, &eo, &sink) == TM_OK ? EXIT_DONE : night_memory(r);
}

/* A sign or a unit is wrong from the start or not at all: the first minutes tell. */
#define LOOKED_AT_NS (INT64_C(600) * NS_PER_S)

static void look_at(struct night_run *r, const struct item *it)
{
    if (it->kind == ITEM_SAMPLES && it->samples->n > 0 && it->samples->t_ns[0] < LOOKED_AT_NS)
        check_item(r->check, it);
}

/* Only what makes every number wrong: little pressure or flow is also a patient who breathes alone. */
static void tell_doubts(struct night_run *r)
{
    const struct notice_sink sink = {notices_hear, r->notices};
    struct check_report c;
    check_end(r->check, &c);
    for (int i = 0; i < c.n_notes; i++) {
        const struct check_note *x = &c.note[i];
        const bool unit = x->what == CHECK_UNIT_PRESSURE || x->what == CHECK_UNIT_FLOW;
        if (x->what == CHECK_SIGN || (unit && c.channel[x->channel].abs99 > 1))
            notice_send(&sink, NOTICE_WRONG, x->what == CHECK_SIGN ? "sign_in_doubt" : "unit_in_doubt", r->n.o->path, 0, x->mend,
                        "%s: these tables can't be trusted", x->text);
    }
}

static int feed(struct night_run *r, const struct item *it)
{
    if (it->kind == ITEM_MARK) {
        r->n.marks++;
        if (it->mark.at_ns < r->n.to_ns)
            tally_mark(&r->n.tally, &it->mark);
    }
    const int rc = engine_push(r->engine, it);
    return rc == TM_OK ? hours_item(r->hours, it) : rc;
}

/* Samples [from, to) of a block; a part that spans a long hole goes in halves (hours.h says why). */
static int feed_part(struct night_run *r, const struct sample_block *b, size_t from, size_t to)
{
    if (from >= to)
        return TM_OK;
    if (b->t_ns[to - 1] - b->t_ns[from] > 60 * NS_PER_S && to - from > 1) {
        const size_t middle = from + (to - from) / 2;
        const int rc = feed_part(r, b, from, middle);
        return rc == TM_OK ? feed_part(r, b, middle, to) : rc;
    }
    struct item it = {.kind = ITEM_SAMPLES, .samples = b};
    if (from > 0 || to < b->n) {
        struct sample_block *s = r->split;
        s->n = to - from;
        s->channels = b->channels;
        memcpy(s->t_ns, b->t_ns + from, s->n * sizeof s->t_ns[0]);
        for (int c = 0; c < CH_N; c++)
            if (b->channels >> c & 1u)
                memcpy(s->v[c], b->v[c] + from, s->n * sizeof s->v[c][0]);
        it.samples = s;
    }
    return feed(r, &it);
}

/* Marks of a file go between the samples, where marks of a log would stand. */
static int feed_marked(struct night_run *r, const struct sample_block *b)
{
    size_t from = 0;
    const struct mark *m;
    while (b->n > 0 && r->marks && (m = marks_next(r->marks, b->t_ns[b->n - 1] + 1))) {
        size_t k = from;
        while (b->t_ns[k] < m->at_ns)
            k++;
        int rc = feed_part(r, b, from, k);
        from = k;
        const struct item it = {.kind = ITEM_MARK, .mark = *m};
        if (rc == TM_OK)
            rc = feed(r, &it);
        if (rc != TM_OK)
            return rc;
    }
    return feed_part(r, b, from, b->n);
}

/* Gas of the recording's own condition as BTPS: flow and volume grow by one factor. */
static const struct sample_block *to_btps(struct night_run *r, const struct sample_block *b)
{
    if (!r->warm)
        return b;
    struct sample_block *w = r->warm;
    w->n = b->n;
    w->channels = b->channels;
    memcpy(w->t_ns, b->t_ns, b->n * sizeof b->t_ns[0]);
    for (int c = 0; c < CH_N; c++) {
        if (!(b->channels >> c & 1u))
            continue;
        const double factor = c == CH_FLOW || c == CH_VOLUME ? r->n.btps_factor : 1;
        for (size_t i = 0; i < b->n; i++)
            w->v[c][i] = b->v[c][i] * factor;
    }
    return w;
}

static int take_item(struct night_run *r, const struct item *it)
{
    if (!r->begun) {
        const int status = begin(r);
        if (status != EXIT_DONE)
            return status;
    }
    progress_tick(&r->progress, it);
    look_at(r, it);
    const int rc = it->kind == ITEM_SAMPLES ? feed_marked(r, to_btps(r, it->samples)) : feed(r, it);
    return night_status(r, rc);
}

/* Marks after the last sample, then the end of the analysis. */
static int finish_analysis(struct night_run *r)
{
    const struct mark *m;
    int rc = TM_OK;
    while (rc == TM_OK && r->marks && (m = marks_next(r->marks, INT64_MAX))) {
        const struct item it = {.kind = ITEM_MARK, .mark = *m};
        rc = feed(r, &it);
    }
    if (rc == TM_OK)
        rc = engine_end(r->engine);
    if (rc == TM_OK)
        rc = hours_end(r->hours);
    if (rc == TM_OK) {
        tally_end(&r->n.tally);
        r->n.totals = *engine_totals(r->engine);
        tell_doubts(r);
    }
    return night_status(r, rc);
}

int night_read(struct night_run *r)
{
    struct item it;
    struct err e;
    int status = EXIT_DONE;
    enum src_rc rc;
    while ((rc = source_next(r->source, &it, &e)) == SRC_ITEM || rc == SRC_QUIET) {
        if (rc == SRC_QUIET)
            continue;
        status = take_item(r, &it);
        if (status != EXIT_DONE)
            break;
    }
    progress_clear(&r->progress);
    if (status != EXIT_DONE || r->enough)
        return status;
    if (rc == SRC_ERR)
        say_error(r->n.o->cmd, &e);
    if (!r->begun) {
        say(r->n.o->cmd, "%s: no sample in it", r->n.o->path);
        return EXIT_NOTHING;
    }
    status = finish_analysis(r);
    if (status == EXIT_DONE && !r->enough && r->n.totals.samples == 0) {
        say(r->n.o->cmd, "%s: no sample in it", r->n.o->path);
        return EXIT_NOTHING;
    }
    return status == EXIT_DONE && rc == SRC_ERR ? EXIT_WRONG : status;
}
