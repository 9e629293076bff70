/* What each line of the wire means to the recorder. */
#include "ingest/serial/recorder_internal.h"

#include <string.h>

static void say_damage(struct recorder *r, const struct wire_line *line)
{
    static const char *const why[] = {
        [WIRE_PLAIN] = "is not of the line grammar",    [WIRE_CHECKED] = "is not of the line grammar",
        [WIRE_BAD_CRC] = "does not fit its checksum",   [WIRE_JUNK] = "holds bytes that no line has",
        [WIRE_LONG] = "is longer than any line can be",
    };
    recorder_say(r, NOTICE_WRONG, line->state == WIRE_BAD_CRC ? "bad_crc" : "bad_line", line->number, NULL,
                 "%llu bytes at offset %llu: the line %s", (unsigned long long)line->length,
                 (unsigned long long)line->offset, why[line->state]);
}

/* The place in the order of samples survives, if it may have been one. */
static void take_damaged(struct recorder *r, const struct wire_line *line)
{
    r->bad_lines++;
    say_damage(r, line);
    const enum line_kind kind = line_kind(line->text, line->n);
    if (kind == LINE_TIME) {
        /* The next count begins at a line that is not known here. */
        r->lines_since = LINE_NO_COUNT;
        return;
    }
    if (kind != LINE_SAMPLE && kind != LINE_OTHER)
        return;
    if (r->samples == 0 || r->columns == 0)
        return; /* a device may say much before its first sample */
    /* With a step of its own lost, the samples after it have no known time until the next time line. */
    if (line->text[0] == '+' || !r->info.regular)
        r->times_lost = true;
    recorder_take_sample(r, NULL, line->number);
}

/* Without a head nobody knows what the numbers are. */
static void take_headless(struct recorder *r, const struct wire_line *line)
{
    static const char mend[] = "name them with --channels and --rate";
    if (r->headless++ == 0) {
        r->headless_since_ns = r->now_ns;
        recorder_say(r, NOTICE_WRONG, "no_head", line->number, mend,
                     "samples come, but nothing says what they are: no head came before them");
    }
    if (r->now_ns - r->headless_since_ns > RECORDER_NO_HEAD_NS)
        recorder_fail(r, TM_ERR_INPUT, mend, "samples came for 90 s, but nothing said what they are");
}

/* How many decimals the source writes shows in its text alone. */
static void see_places(struct recorder *r, const struct wire_line *line, bool has_step)
{
    const char *p = line->text, *const end = p + line->n;
    if (has_step)
        p = (const char *)memchr(p, ',', line->n) + 1;
    for (size_t column = 0; column < r->columns && p <= end; column++) {
        const size_t left = (size_t)(end - p);
        const char *comma = memchr(p, ',', left);
        const char *stop = comma ? comma : end;
        const char *point = memchr(p, '.', (size_t)(stop - p));
        const int places = point ? (int)(stop - point - 1) : 0;
        if (places > r->places[column])
            r->places[column] = places;
        p = stop + 1;
    }
}

static void take_sample_line(struct recorder *r, const struct wire_line *line)
{
    if (r->columns == 0) {
        take_headless(r, line);
        return;
    }
    struct line_sample s;
    if (!line_parse_sample(line->text, line->n, &s) || s.n != r->columns) {
        take_damaged(r, line);
        return;
    }
    if (r->phase == PHASE_HOLD)
        see_places(r, line, s.step_ns >= 0);
    recorder_take_sample(r, &s, line->number);
}

static void put_mark(struct recorder *r, const struct recorder_mark *held)
{
    struct mark out = held->mark;
    out.at_ns -= r->zero_ns;
    if (held->entered_known && !held->entered_is_wall)
        out.entered_ns -= r->zero_ns;
    else if (held->entered_known && r->info.start_known)
        out.entered_ns -= r->info.start_unix_ns;
    else
        out.entered_ns = -1;
    if (r->rc == TM_OK && log_write_mark(r->writer, &out) != TM_OK)
        recorder_fail(r, TM_ERR_SYSTEM, NULL, "the log can't take a mark");
    r->unsynced = true;
}

static void drop_mark(struct recorder *r, const struct recorder_mark *m)
{
    recorder_say(r, NOTICE_NOTE, "mark_dropped", m->line, NULL, "a mark without a clock, or long before the first sample: left out");
}

void recorder_let_marks_go(struct recorder *r)
{
    for (size_t i = 0; i < r->n_held; i++) {
        if (r->phase == PHASE_SOURCE && r->writer)
            put_mark(r, &r->held[i]);
        else
            drop_mark(r, &r->held[i]);
    }
    r->n_held = 0;
}

static void take_mark(struct recorder *r, const struct wire_line *line)
{
    struct line_mark m;
    if (!line_parse_mark(line->text, line->n, &m)) {
        take_damaged(r, line);
        return;
    }
    struct recorder_mark it = {.mark = {.at_ns = m.at_ns, .entered_ns = m.entered_ns},
                               .entered_known = m.entered_known, .entered_is_wall = m.entered_is_wall, .line = line->number};
    (void)line_decode(it.mark.kind, sizeof it.mark.kind, m.kind, m.kind_n);
    memcpy(it.mark.text, m.text, m.text_n < sizeof it.mark.text ? m.text_n : sizeof it.mark.text - 1);
    if (r->phase == PHASE_SOURCE && r->writer)
        put_mark(r, &it);
    else if (r->phase != PHASE_HOST && r->n_held < RECORDER_MARKS_HELD)
        r->held[r->n_held++] = it;
    else
        drop_mark(r, &it);
}

static void take_gap(struct recorder *r, const struct wire_line *line)
{
    struct line_gap g;
    if (!line_parse_gap(line->text, line->n, &g)) {
        take_damaged(r, line);
        return;
    }
    char reason[32] = "";
    (void)line_decode(reason, sizeof reason, g.reason, g.reason_n);
    recorder_write_pending(r);
    recorder_write_gap(r, reason, g.lost_ns >= 0 && r->written_ns >= 0 ? r->written_ns + g.lost_ns : -1);
}

static void take_clock(struct recorder *r, const struct wire_line *line)
{
    struct line_clock c;
    if (!line_parse_clock(line->text, line->n, &c)) {
        take_damaged(r, line);
        return;
    }
    struct recorder_clock_note *note = &r->clock_note;
    memset(note, 0, sizeof *note);
    note->given = true;
    note->step_known = c.step_known;
    note->step_ns = c.step_ns;
    (void)line_decode(note->what, sizeof note->what, c.what, c.what_n);
}

void recorder_take_line(void *recorder, const struct wire_line *line)
{
    struct recorder *r = recorder;
    if (r->rc != TM_OK)
        return;
    const enum line_kind kind = line_kind(line->text, line->n);
    if (line->first && line->state != WIRE_CHECKED && (kind == LINE_SAMPLE || kind == LINE_OTHER)) {
        /* "2.3" may be the end of "12.3". */
        recorder_say(r, NOTICE_NOTE, "first_line", line->number, NULL,
                     "the first line may have begun before listening did: left out");
        return;
    }
    if (line->state != WIRE_PLAIN && line->state != WIRE_CHECKED) {
        take_damaged(r, line);
        return;
    }
    if (kind != LINE_HEAD)
        recorder_end_head(r);
    if (r->rc != TM_OK)
        return;
    struct line_time t;
    switch (kind) {
    case LINE_SAMPLE:
        take_sample_line(r, line);
        break;
    case LINE_TIME:
        if (line_parse_time(line->text, line->n, &t))
            recorder_take_time(r, &t, line->number);
        else
            take_damaged(r, line);
        break;
    case LINE_HEAD:
        recorder_take_head(r, line);
        break;
    case LINE_MARK:
        take_mark(r, line);
        break;
    case LINE_GAP:
        take_gap(r, line);
        break;
    case LINE_CLOCK:
        take_clock(r, line);
        break;
    case LINE_OTHER:
        /* A checksum that fits makes it a kind of a later version; without one it is noise. */
        if (line->state != WIRE_CHECKED)
            take_damaged(r, line);
        break;
    case LINE_CLOSE: /* the source's own end; the port decides about ours */
    case LINE_EMPTY:
        break;
    }
}
