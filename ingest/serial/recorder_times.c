/* Samples and their times: from the source's time lines, or from arrival. */
#include "ingest/log/step.h"
#include "ingest/serial/recorder_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static int64_t nominal_step(const struct recorder *r)
{
    return nominal_ns(1, r->info.rate_num, r->info.rate_den);
}

/* ---- into the log ---- */

/* r->one, at recording time t_ns. */
static void write_one(struct recorder *r, int64_t t_ns, int64_t arrival_ns)
{
    if (r->rc != TM_OK)
        return;
    r->one.n = 1;
    r->one.t_ns[0] = t_ns;
    log_write_host_time(r->writer, arrival_ns + r->wall_minus_mono_ns, arrival_ns);
    const int rc = log_write_samples(r->writer, &r->one);
    if (rc == TM_ERR_MEMORY)
        recorder_fail(r, TM_ERR_SYSTEM, NULL, "the disk has refused so much that memory for what waits is full");
    else if (rc != TM_OK)
        recorder_fail(r, rc, NULL, "the log can't take a sample");
    r->written_ns = t_ns;
    r->written_arrival_ns = arrival_ns;
    r->unsynced = true;
}

static void take_out(struct recorder *r, size_t i)
{
    r->one.channels = r->pending.channels;
    for (size_t c = 0; c < r->columns; c++)
        if (r->column[c] != CH_N)
            r->one.v[r->column[c]][0] = r->pending.v[r->column[c]][i];
}

void recorder_write_pending(struct recorder *r)
{
    if (r->phase != PHASE_SOURCE)
        return;
    for (size_t i = 0; i < r->pending.n && r->rc == TM_OK; i++) {
        if (!r->writer) {
            r->zero_ns = r->pending.t_ns[i];
            recorder_start_log(r, CLOCK_SOURCE, r->pending.t_ns[i], r->arrival_ns[i]);
        }
        take_out(r, i);
        write_one(r, r->pending.t_ns[i] - r->zero_ns, r->arrival_ns[i]);
    }
    r->pending.n = 0;
    if (r->writer)
        recorder_let_marks_go(r);
}

void recorder_write_gap(struct recorder *r, const char *reason, int64_t to_ns)
{
    if (!r->writer || r->rc != TM_OK)
        return;
    struct gap g = {.from_ns = r->written_ns, .to_ns = to_ns};
    (void)snprintf(g.reason, sizeof g.reason, "%s", reason);
    if (log_write_gap(r->writer, &g) != TM_OK)
        recorder_fail(r, TM_ERR_SYSTEM, NULL, "the log can't take a gap");
    r->unsynced = true;
}

/* ---- arrival times ---- */

/* Time lines, one a second, hold an arrival as it was. Between them samples stand at the declared rate, so that
 * a line needs no time of its own, unless one comes earlier than that: the earliest arrivals are what the reader
 * fits its times to (ingest/log/host_fit.h). One that comes much later shows a hole. */
static int64_t host_time(struct recorder *r, int64_t arrival_ns)
{
    struct recorder_pace *p = &r->pace;
    const int64_t t = arrival_ns - r->zero_ns;
    const bool due = !p->known || t >= p->second_ns || p->lines >= TIME_LINE_SAMPLES;
    int64_t next = due ? t : p->anchor_ns + nominal_ns(p->k + 1, r->info.rate_num, r->info.rate_den);
    if (due || t < next - RECORDER_EARLY_NS || t > next + RECORDER_LATE_NS || next >= p->second_ns) {
        next = p->known && t <= p->last_ns ? p->last_ns + 1000 : t;
        p->anchor_ns = next;
        p->k = 0;
    } else {
        p->k++;
    }
    if (due || next >= p->second_ns) {
        p->second_ns = (next / NS_PER_S + 1) * NS_PER_S;
        p->lines = 0;
    }
    p->lines++;
    p->known = true;
    p->last_ns = next;
    return next;
}

/* A rate that does not fit what arrives would shift every time between the time lines. */
static void watch_rate(struct recorder *r, int64_t arrival_ns)
{
    if (r->rate_count++ == 0)
        r->rate_from_ns = arrival_ns;
    const double span_s = (double)(arrival_ns - r->rate_from_ns) / (double)NS_PER_S;
    if (r->said_rate || span_s < 10)
        return;
    const double seen = (double)(r->rate_count - 1) / span_s;
    const double told = (double)r->info.rate_num / (double)r->info.rate_den;
    if (seen < 0.95 * told || seen > 1.05 * told) {
        recorder_say(r, NOTICE_WRONG, "rate_differs", 0, "see whether --rate is what the source sends",
                     "%.1f samples a second arrive, %.6g are declared", seen, told);
        r->said_rate = true;
    }
    r->rate_count = 0;
}

static void put_host(struct recorder *r, int64_t arrival_ns)
{
    if (!r->writer) {
        r->zero_ns = arrival_ns;
        recorder_start_log(r, CLOCK_HOST, 0, arrival_ns);
    }
    if (r->silence_gap)
        recorder_write_gap(r, "silence", arrival_ns - r->zero_ns);
    r->silence_gap = false;
    write_one(r, host_time(r, arrival_ns), arrival_ns);
    watch_rate(r, arrival_ns);
}

void recorder_leave_hold(struct recorder *r, enum recorder_phase phase)
{
    if (r->phase != PHASE_HOLD)
        return;
    for (size_t c = 0; c < r->columns; c++)
        if (r->column[c] != CH_N && r->info.channel[r->column[c]].decimals < r->places[c])
            r->info.channel[r->column[c]].decimals = r->places[c];
    r->phase = phase;
    if (phase == PHASE_HOST) {
        recorder_let_marks_go(r);
        for (size_t i = 0; i < r->pending.n && r->rc == TM_OK; i++) {
            take_out(r, i);
            put_host(r, r->arrival_ns[i]);
        }
    } else if (r->pending.n > 0) {
        recorder_say(r, NOTICE_NOTE, "before_time", 0, NULL,
                     "%zu sample lines before the first time line left out: their time is not known",
                     r->pending.n);
        r->samples -= r->pending.n;
    }
    r->pending.n = 0;
}

/* ---- the source's times ---- */

/* False: no time can follow from what came. */
static bool source_time(struct recorder *r, const struct line_sample *s, int64_t *t_ns)
{
    struct recorder_pace *p = &r->pace;
    if (p->fresh) {
        p->k = 0;
    } else if (s && s->step_ns >= 0) {
        if (s->step_ns == 0)
            return false;
        p->anchor_ns = p->last_ns + s->step_ns;
        p->k = 0;
    } else {
        if (p->k == TIME_LINE_SAMPLES) {
            p->anchor_ns = p->last_ns;
            p->k = 0;
        }
        p->k++;
    }
    p->fresh = false;
    p->last_ns = p->anchor_ns + nominal_ns(p->k, r->info.rate_num, r->info.rate_den);
    *t_ns = p->last_ns;
    return true;
}

static void hold(struct recorder *r, const struct line_sample *s, int64_t t_ns)
{
    struct sample_block *b = &r->pending;
    b->channels = 0;
    for (size_t c = 0; c < r->columns; c++) {
        if (r->column[c] == CH_N)
            continue; /* a channel of a later version */
        b->channels |= UINT32_C(1) << r->column[c];
        b->v[r->column[c]][b->n] = s ? s->value[c] * r->factor[c] : (double)NAN;
    }
    b->t_ns[b->n] = t_ns;
    r->arrival_ns[b->n++] = r->now_ns;
}

/* No time line for long: its count could not be waited for. */
static void write_unchecked(struct recorder *r)
{
    if (!r->said_unchecked)
        recorder_say(r, NOTICE_NOTE, "unchecked", 0, NULL,
                     "time lines come too rarely: samples are kept before their count is known");
    r->said_unchecked = true;
    recorder_write_pending(r);
}

static void full_hold(struct recorder *r)
{
    if (r->o.clock != RECORDER_CLOCK_SOURCE) {
        recorder_leave_hold(r, PHASE_HOST);
        return;
    }
    if (!r->said_no_time_line)
        recorder_say(r, NOTICE_WRONG, "no_time_line", 0, "--clock host takes the arrival times",
                     "samples come, but no time line: nothing is kept until one comes");
    r->said_no_time_line = true;
    r->samples -= r->pending.n;
    r->pending.n = 0;
}

void recorder_take_sample(struct recorder *r, const struct line_sample *s, uint64_t line)
{
    struct sample_block *b = &r->pending;
    if (b->n == BLOCK_CAP || (b->n > 0 && r->phase == PHASE_HOLD && r->now_ns - r->arrival_ns[0] > RECORDER_HOLD_NS)) {
        if (r->phase == PHASE_HOLD)
            full_hold(r);
        else
            write_unchecked(r);
    }
    if (r->lines_since != LINE_NO_COUNT)
        r->lines_since++;
    int64_t t = r->now_ns;
    if (r->phase == PHASE_SOURCE && (r->times_lost || !source_time(r, s, &t))) {
        if (!r->times_lost)
            recorder_say(r, NOTICE_WRONG, "bad_step", line, NULL, "a step of nothing: no times until the next time line");
        r->times_lost = true;
        r->bad_lines++;
        return;
    }
    if (r->first_ns < 0)
        r->first_ns = r->now_ns;
    r->newest_ns = r->now_ns;
    r->samples++;
    r->missing += !s;
    hold(r, s, t);
    if (s) {
        for (size_t c = 0; c < r->columns; c++) {
            if (r->column[c] == CH_PAW)
                r->last_paw_cmh2o = s->value[c] * r->factor[c];
            else if (r->column[c] == CH_FLOW)
                r->last_flow_l_s = s->value[c] * r->factor[c];
        }
    }
    if (r->phase == PHASE_HOST) {
        take_out(r, 0);
        b->n = 0;
        put_host(r, r->now_ns);
    }
}

/* Whether the lines between two time lines all came; if not, their samples go. */
static void check_count(struct recorder *r, const struct line_time *t, uint64_t line)
{
    const bool known = r->pace.known && t->count != LINE_NO_COUNT && r->lines_since != LINE_NO_COUNT;
    if (known && t->count != r->lines_since) {
        recorder_say(r, NOTICE_WRONG, "bad_count", line, NULL,
                     "the source counts %lld sample lines since its last time line, %lld came: this stretch is a gap",
                     (long long)t->count, (long long)r->lines_since);
        r->samples -= r->pending.n;
        r->pending.n = 0;
        recorder_write_gap(r, "bad_count", t->t_ns > r->zero_ns + r->written_ns ? t->t_ns - r->zero_ns : -1);
    } else {
        recorder_write_pending(r);
        if (r->times_lost)
            recorder_write_gap(r, "damaged", t->t_ns > r->zero_ns + r->written_ns ? t->t_ns - r->zero_ns : -1);
    }
    r->times_lost = false;
}

/* The source's clock jumped, as it said itself or as a time line shows: recording time goes on, by the clock
 * here, and the log says what happened. */
static void follow_jump(struct recorder *r, const struct line_time *t, uint64_t line)
{
    struct recorder_clock_note *note = &r->clock_note;
    const bool fell = r->writer && t->t_ns <= r->zero_ns + r->written_ns;
    if (fell && !note->given)
        recorder_say(r, NOTICE_WRONG, "time_back", line, NULL, "the source's time goes back: kept as a step of its clock");
    if (r->writer && (fell || note->given)) {
        int64_t went = r->now_ns - r->written_arrival_ns;
        if (went < nominal_step(r))
            went = nominal_step(r);
        int64_t step = note->step_known ? note->step_ns : t->t_ns - (r->zero_ns + r->written_ns + went);
        /* A step that would let recording time fall is not the whole of it. */
        if (t->t_ns - (r->zero_ns + step) <= r->written_ns)
            step = t->t_ns - r->zero_ns - (r->written_ns + nominal_step(r));
        if (r->rc == TM_OK && log_write_clock(r->writer, note->what[0] ? note->what : "step", step) != TM_OK)
            recorder_fail(r, TM_ERR_SYSTEM, NULL, "the log can't take a clock line");
        r->zero_ns += step;
        r->unsynced = true;
    }
    memset(note, 0, sizeof *note);
}

void recorder_take_time(struct recorder *r, const struct line_time *t, uint64_t line)
{
    if (r->columns == 0)
        return;
    if (r->phase == PHASE_HOST || r->o.clock == RECORDER_CLOCK_HOST) {
        if (!r->said_time_line)
            recorder_say(r, NOTICE_NOTE, "time_unused", line, "--clock source takes the source's times",
                         "a time line came, but arrival times are in use");
        r->said_time_line = true;
        return;
    }
    recorder_leave_hold(r, PHASE_SOURCE);
    check_count(r, t, line);
    follow_jump(r, t, line);
    r->pace.known = true;
    r->pace.fresh = true;
    r->pace.anchor_ns = t->t_ns;
    r->pace.last_ns = t->t_ns;
    r->lines_since = 0;
    if (r->unsynced && (r->now_ns - r->synced_ns >= RECORDER_RESYNC_NS || outfile_waiting(r->file) > RECORDER_PILE_MAX))
        recorder_sync(r);
}
