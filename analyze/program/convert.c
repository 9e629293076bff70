/* tidemark convert: delimited text to a log, a log to delimited text. */
#include "analyze/program/import_args.h"
#include "analyze/program/one_file.h"
#include "analyze/program/progress.h"
#include "analyze/program/say.h"
#include "analyze/program/text_write.h"
#include "analyze/tables/wording.h"
#include "ingest/log/log_write.h"
#include "ingest/rfc3339.h"

#include <string.h>

static const struct opt opts[] = {
    {"force", 'f', NULL, "", "", "Replace OUT if it is there."},
    IMPORT_OPTS,
    {"shift-dates", 0, "DAYS", "d", "0", "Shift the start by whole days, the same for all files of a subject: night and day stay."},
    {"drop-dates", 0, NULL, "", "", "Leave out when the recording began."},
    {"drop-text", 0, NULL, "", "", "Leave out the text of marks; their kind and time stay."},
    {NULL, 0, NULL, NULL, NULL, NULL},
};

struct conversion {
    const struct args *a;
    struct notices *notices;
    struct source *source;
    struct one_file *file;
    bool to_text, plain, begun;
    long shift_days;
    struct log_writer *log;
    struct text_writer *text;
    struct progress progress;
    unsigned long long samples, gaps, marks;
};

static void change_dates(const struct conversion *c, struct recording_info *info)
{
    if (args_given(c->a, "drop-dates")) {
        info->start[0] = '\0';
        info->start_known = false;
    } else if (c->shift_days != 0 && info->start_known) {
        info->start_unix_ns += c->shift_days * 86400 * NS_PER_S;
        const int64_t rest = info->start_unix_ns % NS_PER_S;
        (void)rfc3339_format(info->start, info->start_unix_ns, info->start_offset_min,
                             rest == 0 ? 0 : rest % 1000000 == 0 ? 3 : 9);
    }
}

static int begin(struct conversion *c, struct err *e)
{
    struct recording_info info = *source_info(c->source);
    change_dates(c, &info);
    c->begun = true;
    if (c->to_text)
        return text_writer_new(&c->text, &info, one_file_write, c->file);
    const struct log_write_opts o = {.write = one_file_write, .user = c->file, .plain = c->plain,
                                     .caution = wording_short(), .exact = true};
    return log_writer_new(&c->log, &info, &o, e);
}

static int put_item(struct conversion *c, const struct item *it)
{
    if (it->kind == ITEM_SAMPLES)
        c->samples += it->samples->n;
    else if (it->kind == ITEM_GAP)
        c->gaps++;
    else
        c->marks++;
    if (c->to_text)
        return it->kind == ITEM_SAMPLES ? text_write_samples(c->text, it->samples) : TM_OK;
    if (it->kind == ITEM_SAMPLES)
        return log_write_samples(c->log, it->samples);
    if (it->kind == ITEM_GAP)
        return log_write_gap(c->log, &it->gap);
    struct mark m = it->mark;
    if (args_given(c->a, "drop-text"))
        m.text[0] = '\0';
    return log_write_mark(c->log, &m);
}

/* What a failed write is: the file's own reason first. */
static int failed(struct conversion *c, int rc, const struct err *why)
{
    struct err e;
    if (one_file_failed(c->file, &e)) {
        say_error(c->a->cmd, &e);
        return EXIT_OUTPUT;
    }
    if (why && why->what[0])
        say_error(c->a->cmd, why);
    else
        say(c->a->cmd, "%s: can't be converted (code %d)", c->a->operands[0], rc);
    return rc == TM_ERR_USAGE ? EXIT_USAGE : EXIT_NOTHING;
}

static int copy(struct conversion *c)
{
    struct err e, why = {.what = ""};
    struct item it;
    enum src_rc rc;
    while ((rc = source_next(c->source, &it, &e)) == SRC_ITEM || rc == SRC_QUIET) {
        if (rc == SRC_QUIET)
            continue;
        int w = c->begun ? TM_OK : begin(c, &why);
        if (w == TM_OK)
            w = put_item(c, &it);
        if (w != TM_OK)
            return failed(c, w, &why);
        progress_tick(&c->progress, &it);
    }
    progress_clear(&c->progress);
    if (rc == SRC_ERR)
        say_error(c->a->cmd, &e);
    if (c->samples == 0) {
        say(c->a->cmd, "%s: no sample in it", c->a->operands[0]);
        return EXIT_NOTHING;
    }
    const int w = c->to_text ? text_write_close(c->text) : log_write_close(c->log);
    if (w != TM_OK)
        return failed(c, w, NULL);
    if (one_file_commit(c->file, &e) != TM_OK) {
        say_error(c->a->cmd, &e);
        return EXIT_OUTPUT;
    }
    return rc == SRC_ERR ? EXIT_WRONG : EXIT_DONE;
}

static int open_both(struct conversion *c, const struct import_opts *io)
{
    const char *in = c->a->operands[0], *out = c->a->operands[1];
    const struct notice_sink sink = {notices_hear, c->notices};
    struct err e;
    int rc = source_open(&c->source, in, io, &sink, &e);
    if (rc != TM_OK) {
        say_error(c->a->cmd, &e);
        return status_of(rc);
    }
    rc = one_file_open(&c->file, out, args_given(c->a, "force"), &e);
    if (rc != TM_OK) {
        say_error(c->a->cmd, &e);
        return rc == TM_ERR_MEMORY ? EXIT_NOTHING : EXIT_OUTPUT;
    }
    return EXIT_DONE;
}

static void tell(const struct conversion *c)
{
    const uint64_t inexact = c->log ? log_writer_inexact(c->log) : 0;
    say(c->a->cmd, "%s: %llu samples, %llu gaps, %llu marks", c->a->operands[1], c->samples, c->gaps,
        c->to_text ? 0 : c->marks);
    if (c->to_text && c->marks > 0)
        say(c->a->cmd, "%llu marks are left out: a text has no place for them", c->marks);
    if (inexact > 0)
        say(c->a->cmd, "%llu values could not be written so that they read back as the same number", (unsigned long long)inexact);
    if (source_info(c->source)->start_known && !args_given(c->a, "drop-dates") && !c->to_text)
        say(c->a->cmd, "%s", wording_export());
}

static bool ends(const char *s, const char *end)
{
    const size_t n = strlen(s), k = strlen(end);
    return n >= k && strcmp(s + n - k, end) == 0;
}

static int run(const struct args *a)
{
    struct conversion c = {.a = a};
    struct import_opts io;
    int status = import_from_args(a, &io);
    if (status == EXIT_DONE)
        status = args_integer(a, "shift-dates", -36500, 36500, &c.shift_days);
    if (status != EXIT_DONE)
        return status;
    if (strcmp(a->operands[1], "-") == 0)
        return say_usage(a->cmd, "OUT is the name of a file");
    say_caution();
    c.to_text = ends(a->operands[1], ".csv");
    c.plain = !ends(a->operands[1], ".gz");
    c.notices = notices_new(a->cmd);
    progress_begin(&c.progress);
    status = c.notices ? open_both(&c, &io) : EXIT_NOTHING;
    if (status == EXIT_DONE)
        status = copy(&c);
    const int heard = c.notices ? notices_end(c.notices) : EXIT_DONE;
    if (status <= EXIT_WRONG)
        tell(&c);
    log_writer_destroy(c.log);
    text_writer_destroy(c.text);
    one_file_close(c.file);
    source_close(c.source);
    notices_free(c.notices);
    return status > heard ? status : heard;
}

static const char *const examples[] = {
    "tidemark convert night.csv night.log.gz", "A text into a log; the log's tables are the same, byte for byte.",
    "tidemark convert night.log.gz night.csv", "A log into a text that any program reads.",
    "tidemark convert night.log.gz shared.log.gz --drop-dates --drop-text", "Before a recording is shared.", NULL, NULL};

const struct command command_convert = {
    .name = "convert",
    .summary = "delimited text to a log, and back",
    .operands = "FILE OUT",
    .operands_min = 2,
    .operands_max = 2,
    .text = "Writes the recording FILE (a log or delimited text, plain or gzipped; - is standard input) as OUT. An OUT that "
            "ends in .csv is delimited text, one that ends in .gz a compressed log, any other a log as plain text. Values keep "
            "the unit of the source and read back as the same numbers.\n\n"
            "OUT appears under its name only when it is complete. Recordings are confidential also without a date: the "
            "waveform itself can be matched.",
    .opts = opts,
    .examples = examples,
    .run = run,
};
