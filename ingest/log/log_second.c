/* Samples and their times, from time line to time line. */
#include "ingest/log/log_read_internal.h"

#include "ingest/decimal.h"

#include <math.h>
#include <string.h>

/* The time, in recording time, of the sample line at hand; step_ns -1: it gives none. */
static int64_t sample_time(struct log_reader *r, int64_t step_ns)
{
    int64_t t;
    if (step_ns < 0 || r->k == 0) {
        t = r->anchor_ns + (r->step_ns ? r->k * r->step_ns
                                       : nominal_ns(r->k, r->info.rate_num, r->info.rate_den));
    } else {
        t = r->prev_ns + step_ns;
        r->anchor_ns = t;
        r->k = 0;
    }
    r->k++;
    r->prev_ns = t;
    return r->info.clock == CLOCK_HOST ? host_fit_push(&r->fit, t, r->last_ns < 0 ? INT64_MIN : r->last_ns) : t;
}

/* Room for the line's sample in the block: its index, or BLOCK_CAP where it is not to be kept. */
static size_t place(struct log_reader *r, int64_t step_ns)
{
    r->since++;
    r->total++;
    if (!r->any_time_line && r->since == 1) {
        notice_send(&r->sink, NOTICE_WRONG, "no_time", r->path, r->line, "a time line stands before the first sample",
                    "samples before the first time line are not used");
        reader_gap_due(r, "no_time", 7);
    }
    if (r->timed && r->since > TIME_LINE_SAMPLES)
        r->overflow = true;
    if (!r->timed || r->refusing || r->head_refused || r->overflow)
        return BLOCK_CAP;
    int64_t t = sample_time(r, step_ns);
    if (t <= r->last_ns && r->last_ns >= 0) {
        notice_send(&r->sink, NOTICE_WRONG, "bad_step", r->path, r->line, "each sample is later than the one before",
                    "a sample's step leads back in time");
        return BLOCK_CAP;
    }
    r->last_ns = t;
    size_t i = r->block.n++;
    r->block.t_ns[i] = t;
    return i;
}

void reader_missing_sample(struct log_reader *r)
{
    size_t i = place(r, -1);
    for (size_t k = 0; i < BLOCK_CAP && k < r->head.fields; k++)
        if (r->head.field[k] != CH_N)
            r->block.v[r->head.field[k]][i] = (double)NAN;
}

/* Values straight into the block's row i; false: not as many as channels, or no numbers. */
static bool take_values(struct log_reader *r, const char *p, const char *end, size_t i)
{
    const size_t fields = r->head.fields;
    for (size_t k = 0; k < fields; k++) {
        double v = (double)NAN;
        if (p < end && *p != ',') {
            p = decimal_scan(p, end, &v);
            if (!p)
                return false;
        }
        if (r->head.field[k] != CH_N)
            r->block.v[r->head.field[k]][i] = v * r->head.factor[k];
        if (k + 1 < fields && (p >= end || *p++ != ','))
            return false;
    }
    return p == end;
}

static void bad_line(struct log_reader *r)
{
    notice_send(&r->sink, NOTICE_WRONG, "bad_line", r->path, r->line,
                "values are decimal numbers, one for each channel", "a sample line can't be read: one sample is missing");
}

static bool parse_step_of(const char **p, const char *end, int64_t *step_ns)
{
    struct line_sample s;
    const char *comma = memchr(*p, ',', (size_t)(end - *p));
    /* The step alone, by the shared grammar, with one empty value behind it. */
    if (!comma || !line_parse_sample(*p, (size_t)(comma - *p) + 1, &s))
        return false;
    *step_ns = s.step_ns;
    *p = comma + 1;
    return true;
}

void reader_sample_line(struct log_reader *r, const char *p, size_t n)
{
    const char *end = p + n;
    int64_t step_ns = -1;
    if (*p == '+' && !parse_step_of(&p, end, &step_ns)) {
        bad_line(r);
        reader_missing_sample(r);
        return;
    }
    size_t i = place(r, step_ns);
    if (i == BLOCK_CAP || take_values(r, p, end, i))
        return;
    bad_line(r);
    for (size_t k = 0; k < r->head.fields; k++)
        if (r->head.field[k] != CH_N)
            r->block.v[r->head.field[k]][i] = (double)NAN;
}

void reader_gap_due(struct log_reader *r, const char *reason, size_t n)
{
    if (r->gap_reason[0] == '\0')
        (void)line_decode(r->gap_reason, sizeof r->gap_reason, reason, n);
}

void reader_release(struct log_reader *r, bool good)
{
    if (!good) {
        r->block.n = 0;
        r->last_ns = r->sent_ns;
        for (size_t i = 0; i < r->n_marks; i++)
            r->marks[i].at = 0;
    }
    r->overflow = false;
    r->ready = r->block.n > 0 || r->n_marks > 0;
    r->sent = 0;
    r->marks_sent = 0;
    if (r->block.n > 0)
        r->sent_ns = r->block.t_ns[r->block.n - 1];
}

/* Recording time of a time line, after what the clock did; false: time fell, unannounced. */
static bool place_in_time(struct log_reader *r, int64_t source_ns, int64_t *t)
{
    if (!r->any_time_line && (!r->head.has_origin || source_ns < r->origin_ns))
        r->origin_ns = source_ns;
    *t = source_ns - r->origin_ns;
    int64_t after = r->last_ns < 0 ? 0 : r->last_ns + nominal_ns(1, r->info.rate_num, r->info.rate_den);
    if (r->clock_event) {
        if (!r->clock_step_known || *t <= r->last_ns) {
            *t = after;
            r->origin_ns = source_ns - after;
        }
        r->clock_event = false;
        reader_gap_due(r, "clock", 5);
    }
    /* Arrivals may bunch: their fitted times still rise. */
    int64_t floor_ns = r->info.clock == CLOCK_HOST ? r->prev_ns - 1 : r->last_ns;
    return r->last_ns < 0 ? *t >= 0 : *t > floor_ns;
}

static void count_wrong(struct log_reader *r, int64_t count)
{
    notice_send(&r->sink, NOTICE_WRONG, "bad_count", r->path, r->line, "that second is a gap; the rest is kept",
                "the time line counts %lld sample lines, %lld are there", (long long)count, (long long)r->since);
    reader_gap_due(r, "bad_count", 9);
    host_fit_restart(&r->fit);
}

/* The gap that is due lies between the last sample and t; how much was lost is said where damage took it. */
static void set_gap(struct log_reader *r, int64_t t)
{
    r->gap = (struct gap){.from_ns = r->last_ns, .to_ns = t};
    memcpy(r->gap.reason, r->gap_reason, sizeof r->gap.reason);
    r->gap_ready = true;
    r->gap_reason[0] = '\0';
    int64_t lost = t - (r->last_ns < 0 ? 0 : r->last_ns + nominal_ns(1, r->info.rate_num, r->info.rate_den));
    if (r->say_lost && lost > 0)
        notice_send(&r->sink, NOTICE_WRONG, "lost", r->path, r->line, "", "%.3f s are lost by damage",
                    (double)lost / 1e9);
    r->say_lost = false;
}

void reader_time_line(struct log_reader *r, const char *p, size_t n)
{
    struct line_time tl;
    if (!line_parse_time(p, n, &tl)) {
        notice_send(&r->sink, NOTICE_WRONG, "bad_time_line", r->path, r->line, "see docs/log-format.md",
                    "a time line can't be read: samples up to the next one are a gap");
        reader_release(r, true);
        r->timed = false;
        r->since = 0;
        r->count_unknown = true;
        reader_gap_due(r, "bad_time", 8);
        return;
    }
    bool known = r->any_time_line && !r->count_unknown && tl.count != LINE_NO_COUNT;
    bool good = !r->overflow && (!known || tl.count == r->since);
    if (!good)
        count_wrong(r, tl.count);
    reader_release(r, good);
    r->since = 0;
    r->count_unknown = false;
    int64_t t;
    bool rises = place_in_time(r, tl.t_ns, &t);
    if (!r->any_time_line)
        r->info.first_source_ns = r->origin_ns;
    r->any_time_line = true;
    if (!rises) {
        if (!r->refusing)
            notice_send(&r->sink, NOTICE_WRONG, "time_back", r->path, r->line,
                        "a clock that was set back is told by a line that begins with ^",
                        "source time falls to %.3f s: samples are refused until it is past %.3f s again",
                        (double)tl.t_ns / 1e9, (double)(r->last_ns + r->origin_ns) / 1e9);
        r->refusing = true;
        reader_gap_due(r, "time_back", 9);
        return;
    }
    r->refusing = false;
    r->timed = true;
    r->anchor_ns = t;
    r->k = 0;
    if (r->last_ns < 0 && t > r->info.gap_limit_ns && bytes_start_offset(r->bytes) == 0 && !r->gap_reason[0]) {
        reader_gap_due(r, "damaged", 7); /* the recording's beginning is not here */
        r->say_lost = true;
    }
    if (r->gap_reason[0] && !r->head_refused) {
        host_fit_restart(&r->fit);
        set_gap(r, t);
    }
}
