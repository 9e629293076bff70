/* The reader's lines other than samples and times: head, marks, gaps, clock events, closing line. */
#include "ingest/log/log_read_internal.h"

#include "ingest/units.h"

#include <stdio.h>
#include <string.h>

static void begin_head(struct log_reader *r)
{
    log_head_init(&r->next);
    r->in_head = true;
}

static void head_fault(struct log_reader *r, const char *why, const char *mend)
{
    if (!r->have_head) {
        if (!r->failed)
            (void)err_set(&r->fault, TM_ERR_INPUT, r->path, r->line, mend, "%s", why);
        r->failed = true;
        return;
    }
    if (!r->head_refused)
        notice_send(&r->sink, NOTICE_WRONG, "bad_head", r->path, r->line, mend,
                    "a restated head can't be used (%.150s): samples under it are a gap", why);
    r->head_refused = true;
    reader_gap_due(r, "bad_head", 8);
}

static void head_line(struct log_reader *r, const char *p, size_t n)
{
    bool version = n >= 9 && memcmp(p, "%tidemark", 9) == 0;
    if (version && !(r->in_head && !r->next.has_version)) {
        begin_head(r);
        r->head_refused = false;
    }
    if (!r->in_head)
        return; /* a head line among samples says nothing to this version */
    char why[256] = "", mend[256] = "";
    switch (log_head_line(&r->next, p, n, why, mend)) {
    case HEAD_LINE_BAD:
        head_fault(r, why, mend);
        break;
    case HEAD_LINE_UNKNOWN:
        if (!r->said_unknown_head)
            notice_send(&r->sink, NOTICE_NOTE, "unknown_head", r->path, r->line, "",
                        "head lines or channels that this release does not know are passed over");
        r->said_unknown_head = true;
        break;
    case HEAD_LINE_OK:
        break;
    }
}

static void use_first_head(struct log_reader *r)
{
    r->head = r->next;
    r->info = r->next.info;
    r->have_head = true;
    r->origin_ns = r->head.origin_ns;
    int64_t whole = NS_PER_S * r->info.rate_den;
    r->step_ns = whole % r->info.rate_num == 0 ? whole / r->info.rate_num : 0;
    host_fit_init(&r->fit, r->info.rate_num, r->info.rate_den);
    r->block.channels = 0;
    for (size_t i = 0; i < r->head.fields; i++)
        if (r->head.field[i] != CH_N)
            r->block.channels |= 1u << r->head.field[i];
}

void reader_head_done(struct log_reader *r)
{
    r->in_head = false;
    char why[256] = "", mend[256] = "";
    if (r->failed || r->head_refused)
        return;
    if (!log_head_check(&r->next, why, mend)) {
        head_fault(r, why, mend);
        return;
    }
    if (!r->have_head) {
        use_first_head(r);
        return;
    }
    if (!log_head_same_channels(&r->head, &r->next)) {
        head_fault(r, "its channels, units, rate or clock are not those of the first",
                   "recordings with other channels are separate files");
        return;
    }
    /* After lost members the clock may have been set in between: the head says what it shows now. */
    if (r->count_unknown && r->next.has_origin)
        r->origin_ns = r->next.origin_ns;
}

static void wrong_line(struct log_reader *r, const char *code, const char *what)
{
    notice_send(&r->sink, NOTICE_WRONG, code, r->path, r->line, "see docs/log-format.md", "%s can't be read: passed over",
                what);
}

static void mark_line(struct log_reader *r, const char *p, size_t n)
{
    struct line_mark lm;
    if (!line_parse_mark(p, n, &lm)) {
        wrong_line(r, "bad_mark", "a mark");
        return;
    }
    if (r->n_marks == MARKS_MAX) {
        notice_send(&r->sink, NOTICE_WRONG, "too_many_marks", r->path, r->line, "",
                    "more than %d marks within a second: this one is passed over", MARKS_MAX);
        return;
    }
    struct placed_mark *pm = &r->marks[r->n_marks++];
    memset(pm, 0, sizeof *pm);
    pm->at = r->block.n;
    struct mark *m = &pm->mark;
    m->at_ns = lm.at_ns - r->origin_ns;
    m->entered_ns = -1;
    if (lm.entered_known && !lm.entered_is_wall)
        m->entered_ns = lm.entered_ns - r->origin_ns;
    else if (lm.entered_known && r->info.start_known)
        m->entered_ns = lm.entered_ns - r->info.start_unix_ns;
    if (m->entered_ns < 0)
        m->entered_ns = -1;
    (void)line_decode(m->kind, sizeof m->kind, lm.kind, lm.kind_n);
    size_t k = lm.text_n < MARK_TEXT_MAX - 1 ? lm.text_n : MARK_TEXT_MAX - 1;
    memcpy(m->text, lm.text, k);
    m->text[k] = '\0';
}

static void gap_line(struct log_reader *r, const char *p, size_t n)
{
    struct line_gap g;
    if (!line_parse_gap(p, n, &g)) {
        wrong_line(r, "bad_gap", "a gap line");
        reader_gap_due(r, "unknown", 7);
        return;
    }
    reader_gap_due(r, g.reason, g.reason_n);
}

static void clock_line(struct log_reader *r, const char *p, size_t n)
{
    struct line_clock c;
    bool good = line_parse_clock(p, n, &c);
    if (!good)
        wrong_line(r, "bad_clock", "a clock line");
    r->clock_step_known = good && c.step_known && (!r->clock_event || r->clock_step_known);
    if (good && c.step_known)
        r->origin_ns += c.step_ns;
    r->clock_event = true;
    notice_send(&r->sink, NOTICE_NOTE, "clock", r->path, r->line, "",
                "the source's clock was set (%.*s): recording time goes on", good ? (int)(c.what_n < 32 ? c.what_n : 32) : 7,
                good ? c.what : "unknown");
}

static void close_line(struct log_reader *r, const char *p, size_t n)
{
    uint64_t count;
    r->closed = true;
    if (!line_parse_close(p, n, &count)) {
        wrong_line(r, "bad_close", "the closing line");
        return;
    }
    r->closed_well = count == r->total || (r->lost && count > r->total);
    if (!r->closed_well)
        notice_send(&r->sink, NOTICE_WRONG, "bad_total", r->path, r->line, "",
                    "the closing line counts %llu sample lines, %llu are there", (unsigned long long)count,
                    (unsigned long long)r->total);
}

/* Punctuation begins kinds of lines of later versions; nothing else ever begins a line. */
static void other_line(struct log_reader *r, char first)
{
    bool reserved = first > ' ' && first < 0x7f && !(first >= 'A' && first <= 'Z') && !(first >= 'a' && first <= 'z');
    if (!reserved) {
        wrong_line(r, "stray_line", "a line of no kind");
        return;
    }
    if (!r->said_unknown_line)
        notice_send(&r->sink, NOTICE_NOTE, "unknown_line", r->path, r->line, "a later release may know them",
                    "lines of a kind that this release does not know are passed over");
    r->said_unknown_line = true;
}

void reader_line(struct log_reader *r, const char *p, size_t n)
{
    if (r->closed) {
        notice_send(&r->sink, NOTICE_WRONG, "after_close", r->path, r->line,
                    "files that were joined are to be given one by one",
                    "what follows the closing line is not read");
        reader_finish(r);
        return;
    }
    if (n > 0 && p[n - 1] == '\r')
        n--;
    enum line_kind kind = line_kind(p, n);
    enum line_crc crc = kind == LINE_HEAD ? LINE_CRC_NONE : line_strip_crc(p, &n);
    if (crc == LINE_CRC_BAD) {
        notice_send(&r->sink, NOTICE_WRONG, "bad_crc", r->path, r->line, "", "a line fails its checksum");
        if (kind == LINE_SAMPLE)
            reader_missing_sample(r);
        return;
    }
    if (kind != LINE_HEAD && r->in_head)
        reader_head_done(r);
    if (r->failed)
        return;
    switch (kind) {
    case LINE_SAMPLE:
        reader_sample_line(r, p, n);
        return;
    case LINE_TIME:
        reader_time_line(r, p, n);
        return;
    case LINE_HEAD:
        head_line(r, p, n);
        return;
    case LINE_MARK:
        mark_line(r, p, n);
        return;
    case LINE_GAP:
        gap_line(r, p, n);
        return;
    case LINE_CLOCK:
        clock_line(r, p, n);
        return;
    case LINE_CLOSE:
        close_line(r, p, n);
        return;
    case LINE_EMPTY:
    case LINE_OTHER:
        other_line(r, n > 0 ? *p : ' ');
        return;
    }
}

void reader_finish(struct log_reader *r)
{
    if (r->in_head)
        reader_head_done(r);
    if (r->overflow) {
        notice_send(&r->sink, NOTICE_WRONG, "bad_count", r->path, r->line, "that second is a gap; the rest is kept",
                    "more than %d sample lines follow a time line", TIME_LINE_SAMPLES);
        reader_gap_due(r, "bad_count", 9);
    }
    reader_release(r, !r->overflow);
    if (!r->closed)
        notice_send(&r->sink, NOTICE_WRONG, "not_closed", r->path, r->line,
                    "the recording was cut short; tidemark check --recover OUT writes a closed copy",
                    "the log has no closing line");
    if (r->gap_reason[0]) {
        r->gap = (struct gap){.from_ns = r->sent_ns, .to_ns = -1};
        memcpy(r->gap.reason, r->gap_reason, sizeof r->gap.reason);
        r->gap_reason[0] = '\0';
        r->gap_ready = true;
    }
    r->over = true;
}
