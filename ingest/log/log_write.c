#include "ingest/log/log_write.h"

#include "ingest/log/log_write_internal.h"
#include "ingest/log/step.h"
#include "ingest/rfc3339.h"
#include "ingest/units.h"

#include <stdlib.h>
#include <string.h>

static int fail(struct log_writer *w, int rc)
{
    if (w->rc == TM_OK)
        w->rc = rc;
    return w->rc;
}

static int drain(struct log_writer *w)
{
    size_t n = w->n;
    w->n = 0;
    return w->rc == TM_OK && n > 0 ? fail(w, log_gz_put(&w->gz, w->text, n)) : w->rc;
}

char *writer_room(struct log_writer *w)
{
    if (WRITER_TEXT - w->n < LINE_MAX_BYTES + 64)
        (void)drain(w);
    return w->rc == TM_OK ? w->text + w->n : NULL;
}

static const int default_decimals[CH_N] = {
    [CH_PAW] = 3, [CH_FLOW] = 4, [CH_VOLUME] = 4, [CH_PES] = 3,
    [CH_CO2] = 2, [CH_SPO2] = 3, [CH_FIO2] = 3,   [CH_PHASE] = 0,
};

static int take_channels(struct log_writer *w, struct err *e)
{
    for (int i = 0; i < CH_N; i++) {
        enum channel c = (enum channel)i;
        struct channel_info *ch = &w->info.channel[c];
        if (!ch->present)
            continue;
        if (c == CH_FLOW && w->info.flow_uncalibrated)
            strcpy(ch->unit, "[arb'U]");
        enum quantity q = channel_quantity(c);
        const struct unit *u = ch->unit[0] ? unit_find(ch->unit, strlen(ch->unit), q) : unit_of_quantity(q, 0);
        if (!u)
            return err_set(e, TM_ERR_USAGE, NULL, 0, "", "unknown unit %s of channel %s", ch->unit,
                           channel_name(c));
        strcpy(ch->unit, u->ucum);
        w->factor[c] = u->factor;
        w->decimals[c] = ch->decimals < 0 ? default_decimals[c] : ch->decimals;
        if (w->decimals[c] > DECIMAL_PLACES_MAX)
            w->decimals[c] = DECIMAL_PLACES_MAX;
        w->order[w->n_channels++] = c;
    }
    if (!w->info.channel[CH_PAW].present || !w->info.channel[CH_FLOW].present)
        return err_set(e, TM_ERR_USAGE, NULL, 0, "", "a log needs pressure and flow");
    return TM_OK;
}

int log_writer_new(struct log_writer **out, const struct recording_info *info, const struct log_write_opts *o,
                   struct err *e)
{
    if (info->rate_num < 1 || info->rate_num > RATE_NUM_MAX || info->rate_den < 1 ||
        info->rate_den > RATE_DEN_MAX)
        return err_set(e, TM_ERR_USAGE, NULL, 0, "", "a log needs a rate");
    struct log_writer *w = calloc(1, sizeof *w);
    if (!w)
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    w->info = *info;
    w->host_time = o->host_time;
    w->exact = o->exact;
    w->member_ns = o->member_ns > 0 ? o->member_ns : 60 * NS_PER_S;
    w->origin_ns = info->first_source_ns;
    if (o->caution)
        strncpy(w->caution, o->caution, sizeof w->caution - 1);
    int rc = take_channels(w, e);
    if (rc == TM_OK && log_gz_init(&w->gz, o->write, o->user, o->plain, o->level > 0 ? o->level : 6) != TM_OK)
        rc = err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    if (rc != TM_OK) {
        log_writer_destroy(w);
        return rc;
    }
    *out = w;
    return TM_OK;
}

void log_writer_destroy(struct log_writer *w)
{
    if (!w)
        return;
    log_gz_free(&w->gz);
    free(w);
}

/* at_ns: recording time from which the member's length counts. */
static int begin_member(struct log_writer *w, int64_t at_ns)
{
    if (w->in_member)
        return w->rc;
    if (WRITER_TEXT - w->n < HEAD_TEXT_MAX)
        (void)drain(w);
    if (w->rc != TM_OK)
        return w->rc;
    w->n += head_write(w->text + w->n, HEAD_TEXT_MAX, &w->info, w->decimals, w->origin_ns,
                       w->caution[0] ? w->caution : NULL);
    w->in_member = true;
    w->member_has_samples = false;
    w->member_from_ns = at_ns;
    w->need_time = true;
    return TM_OK;
}

static int end_member(struct log_writer *w)
{
    w->in_member = false;
    (void)drain(w);
    return w->rc == TM_OK ? fail(w, log_gz_end(&w->gz)) : w->rc;
}

static int put_time_line(struct log_writer *w, int64_t source_ns)
{
    char *p = writer_room(w);
    if (!p)
        return w->rc;
    char *const from = p;
    *p++ = '@';
    p += decimal_format_ns(p, source_ns);
    *p++ = ' ';
    if (w->any_time_line)
        p += decimal_format_u64(p, w->since_time);
    else
        *p++ = '-';
    if (w->host_time && w->host_known) {
        char wall[RFC3339_BUF];
        *p++ = ' ';
        size_t n = rfc3339_format(wall, w->wall_ns, 0, 6);
        memcpy(p, wall, n);
        p += n;
        *p++ = ' ';
        p += decimal_format_ns(p, w->monotonic_ns);
    }
    *p++ = '\n';
    w->n += (size_t)(p - from);
    w->any_time_line = true;
    w->since_time = 0;
    w->need_time = false;
    w->anchor_ns = source_ns;
    w->k = -1;
    int64_t second = source_ns / NS_PER_S - (source_ns % NS_PER_S < 0);
    w->second_ns = (second + 1) * NS_PER_S;
    return TM_OK;
}

static int flush(struct log_writer *w)
{
    return drain(w) == TM_OK ? fail(w, log_gz_sync(&w->gz)) : w->rc;
}

/* Time line, member's end and sync flush, as they are due before a sample. */
static int before_sample(struct log_writer *w, int64_t t_ns, int64_t source_ns)
{
    bool due = source_ns >= w->second_ns || w->since_time >= TIME_LINE_SAMPLES;
    if (w->in_member && w->member_has_samples && (due || w->need_time)) {
        if (t_ns - w->member_from_ns >= w->member_ns)
            (void)end_member(w);
        else
            (void)flush(w);
    }
    (void)begin_member(w, t_ns);
    if (w->rc == TM_OK && (due || w->need_time))
        (void)put_time_line(w, source_ns);
    return w->rc;
}

/* The step's text, where the sample is not where the head's rate puts it. */
static size_t put_step(struct log_writer *w, char *p, int64_t source_ns, int64_t previous_ns)
{
    w->k++;
    if (source_ns == w->anchor_ns + nominal_ns(w->k, w->info.rate_num, w->info.rate_den))
        return 0;
    uint64_t step = (uint64_t)(source_ns - previous_ns);
    w->anchor_ns = source_ns;
    w->k = 0;
    char *const from = p;
    *p++ = '+';
    p += decimal_format_u64(p, step / 1000);
    uint64_t frac = step % 1000;
    if (frac > 0) {
        *p++ = '.';
        *p++ = (char)('0' + frac / 100);
        *p++ = (char)('0' + frac / 10 % 10);
        *p++ = (char)('0' + frac % 10);
    }
    *p++ = ',';
    return (size_t)(p - from);
}

static int put_sample(struct log_writer *w, const struct sample_block *b, size_t i)
{
    int64_t t = b->t_ns[i];
    if (w->any_sample && t <= w->last_ns)
        return TM_ERR_USAGE;
    int64_t source = t + w->origin_ns;
    if (before_sample(w, t, source) != TM_OK)
        return w->rc;
    char values[LINE_MAX_BYTES];
    bool grow = false;
    uint64_t inexact = w->inexact;
    size_t n = writer_values(w, b, i, values, &grow);
    if (grow) {
        /* The decimals of this member are declared already: it ends here. */
        if (end_member(w) != TM_OK || begin_member(w, t) != TM_OK || put_time_line(w, source) != TM_OK)
            return w->rc;
        grow = false;
        w->inexact = inexact;
        n = writer_values(w, b, i, values, &grow);
    }
    char *p = writer_room(w);
    if (!p)
        return w->rc;
    size_t at = put_step(w, p, source, w->last_ns + w->origin_ns);
    memcpy(p + at, values, n);
    p[at + n] = '\n';
    w->n += at + n + 1;
    w->last_ns = t;
    w->any_sample = true;
    w->member_has_samples = true;
    w->since_time++;
    w->total++;
    return TM_OK;
}

int log_write_samples(struct log_writer *w, const struct sample_block *b)
{
    for (size_t i = 0; i < b->n; i++) {
        int rc = put_sample(w, b, i);
        if (rc != TM_OK)
            return rc;
    }
    return w->rc;
}

int writer_put_line(struct log_writer *w, const char *line, size_t n)
{
    (void)begin_member(w, w->any_sample ? w->last_ns : 0);
    char *p = writer_room(w);
    if (!p)
        return w->rc;
    memcpy(p, line, n);
    p[n] = '\n';
    w->n += n + 1;
    return TM_OK;
}

void log_write_host_time(struct log_writer *w, int64_t wall_unix_ns, int64_t monotonic_ns)
{
    w->host_known = true;
    w->wall_ns = wall_unix_ns;
    w->monotonic_ns = monotonic_ns;
}

int log_write_flush(struct log_writer *w)
{
    return flush(w);
}

uint64_t log_writer_inexact(const struct log_writer *w)
{
    return w->inexact;
}

int log_write_close(struct log_writer *w)
{
    char line[24] = ".";
    size_t n = 1 + decimal_format_u64(line + 1, w->total);
    if (writer_put_line(w, line, n) != TM_OK)
        return w->rc;
    return end_member(w);
}
