/* What is said of delimited text: each thing with its line, and at the end how many of each. */
#include "ingest/import/text_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static void count(struct text_reader *r, enum tally t, uint64_t line)
{
    if (r->tally[t]++ == 0)
        r->first_line[t] = line;
}

void say_record(struct text_reader *r, const struct record *rec, uint64_t line)
{
    switch (rec->kind) {
    case REC_UNCLOSED:
        count(r, TALLY_QUOTE, line);
        notice_send(&r->sink, NOTICE_WRONG, "bad_quote", r->path, line, "close it, or take it away",
                    "a quote opens on this line and is never closed; the line is left out");
        break;
    case REC_STRAY:
        count(r, TALLY_QUOTE, line);
        notice_send(&r->sink, NOTICE_WRONG, "bad_quote", r->path, line, "write a quote inside quotes twice",
                    "something stands behind a closing quote; the line is left out");
        break;
    case REC_BINARY:
        count(r, TALLY_BINARY, line);
        notice_send(&r->sink, NOTICE_WRONG, "binary", r->path, line, "", "a NUL byte; the line is left out");
        break;
    case REC_LONG:
        count(r, TALLY_LONG, line);
        notice_send(&r->sink, NOTICE_WRONG, "long_line", r->path, line, "",
                    "the line is longer than %u bytes; it is left out", RECORD_MAX);
        break;
    default:
        break;
    }
}

void say_fault(struct text_reader *r, const struct row_fault *f, uint64_t line)
{
    int column = f->column + 1;
    switch (f->wrong) {
    case ROW_BAD_TIME:
        count(r, TALLY_BAD_TIME, line);
        notice_send(&r->sink, NOTICE_WRONG, "bad_time", r->path, line, "correct the time, or remove the line",
                    "column %d: '%s' is no time; the line is left out", column, f->text);
        break;
    case ROW_RAGGED:
        count(r, TALLY_RAGGED, line);
        notice_send(&r->sink, NOTICE_WRONG, "ragged", r->path, line, "fill or remove the line",
                    "%zu fields, not %zu as in most lines; the line is left out", f->have, r->plan.columns);
        break;
    case ROW_BAD_NUMBER:
        count(r, TALLY_BAD_NUMBER, line);
        notice_send(&r->sink, NOTICE_WRONG, "bad_number", r->path, line, "correct it, or leave the field empty",
                    "column %d, character %zu: '%s' is no number; taken as not measured", column, f->byte, f->text);
        break;
    case ROW_BAD_VALUE:
        count(r, TALLY_BAD_VALUE, line);
        notice_send(&r->sink, NOTICE_WRONG, "bad_value", r->path, line, "leave the field empty where nothing was measured",
                    "column %d: '%s' is nothing that a sensor measures; taken as not measured", column, f->text);
        break;
    }
}

void say_repeat(struct text_reader *r, uint64_t line)
{
    count(r, TALLY_REPEATED, line);
    notice_send(&r->sink, NOTICE_WRONG, "repeated_time", r->path, line,
                "if the clock is coarse, give the sampling rate: --rate 100",
                "the time of the line before, %.9g s, again; the line is left out", (double)r->clock.last_ns * 1e-9);
}

void say_fall(struct text_reader *r, int64_t t_ns, uint64_t line)
{
    notice_send(&r->sink, NOTICE_FATAL, "time_falls", r->path, line,
                "if more was recorded, cut the file there and read the parts on their own",
                "time falls by %.6g s, from %.9g s of recording: the data end before this line",
                (double)(r->clock.last_ns - t_ns) * 1e-9, (double)r->clock.last_ns * 1e-9);
}

void say_cut(struct text_reader *r, size_t torn)
{
    if (torn)
        count(r, TALLY_CUT, r->line + 1);
    if (r->plan.time < 0)
        notice_send(&r->sink, NOTICE_WRONG, "hole_unknown", r->path, r->line + 1, "",
                    "bytes were lost, and without a column of time the hole's length can't be known: 1 s is assumed");
}

static const char *const words[TALLY_N] = {
    [TALLY_BAD_TIME] = "without a readable time", [TALLY_RAGGED] = "with too few or too many fields",
    [TALLY_QUOTE] = "with a bad quote",           [TALLY_BINARY] = "with NUL bytes",
    [TALLY_LONG] = "too long",                    [TALLY_REPEATED] = "with a repeated time",
    [TALLY_CUT] = "torn by damage",               [TALLY_BAD_NUMBER] = "no numbers",
    [TALLY_BAD_VALUE] = "not finite or beyond any sensor",
    [TALLY_EMPTY] = "empty",
};

/* "3 too long (first: line 7), 1 ..." of the tallies from..to; returns their sum. */
static uint64_t list(const struct text_reader *r, int from, int to, char *out, size_t cap)
{
    uint64_t sum = 0;
    size_t n = 0;
    out[0] = '\0';
    for (int t = from; t < to; t++) {
        if (r->tally[t] == 0)
            continue;
        if (n + 1 < cap)
            n += (size_t)snprintf(out + n, cap - n, "%s%" PRIu64 " %s", sum ? ", " : "", r->tally[t], words[t]);
        if (n + 1 < cap && r->first_line[t])
            n += (size_t)snprintf(out + n, cap - n, " (line %" PRIu64 ")", r->first_line[t]);
        sum += r->tally[t];
    }
    return sum;
}

void say_end(struct text_reader *r)
{
    char text[200];
    uint64_t n = list(r, 0, TALLY_LINES, text, sizeof text);
    if (n)
        notice_send(&r->sink, NOTICE_NOTE, "lines_left_out", r->path, 0, "", "%" PRIu64 " lines left out: %s", n, text);
    n = list(r, TALLY_LINES, TALLY_N, text, sizeof text);
    if (n)
        notice_send(&r->sink, NOTICE_NOTE, "values_missing", r->path, 0, "", "%" PRIu64 " values not measured: %s", n, text);
    if (r->holes)
        notice_send(&r->sink, NOTICE_NOTE, "holes", r->path, 0, "",
                    "%" PRIu64 " holes in the samples, %.9g s in all", r->holes, (double)r->hole_ns * 1e-9);
    if (!r->info.regular && r->rows > 1)
        notice_send(&r->sink, NOTICE_NOTE, "jitter", r->path, 0, "",
                    "steps of time vary: %.6g ms at least, %.6g ms at most, %.6g ms in the middle of the first rows; "
                    "each sample keeps its own time",
                    (double)r->clock.min_ns * 1e-6, (double)r->clock.max_ns * 1e-6, (double)r->median_ns * 1e-6);
}
