/* tidemark check: is a recording whole and plausible; a clean copy of a torn log. */
#include "analyze/session/check.h"
#include "analyze/program/import_args.h"
#include "analyze/program/one_file.h"
#include "analyze/program/progress.h"
#include "analyze/program/say.h"
#include "analyze/tables/dictionary.h"
#include "ingest/log/log_recover.h"
#include "ingest/units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct opt opts[] = {
    IMPORT_OPTS,
    {"recover", 0, "OUT", "", "", "Write a clean, closed copy of a torn or damaged log to OUT."},
    {"force", 'f', NULL, "", "", "Replace OUT if it is there."},
    {"json", 'j', NULL, "", "", "Print JSON."},
    {NULL, 0, NULL, NULL, NULL, NULL},
};

#define MARKS_SHOWN 50

struct checking {
    const struct args *a;
    const char *path;
    struct notices *notices;
    struct source *source;
    struct check *check;
    struct check_report report;
    unsigned long long text_marks;
    bool name_like, broke_off; /* broke_off: the source ended with an error */
};

static const char *const finding_code[] = {"clipped", "stuck",  "sign", "pressure_unit", "flow_unit",
                                           "jitter",  "gaps",   "missing", "flat",       "no_return"};

/* Every free text is listed before a recording is shared: that is where names hide. */
static void list_mark(struct checking *c, const struct mark *m)
{
    if (!m->text[0] || ++c->text_marks > MARKS_SHOWN || args_given(c->a, "json"))
        return;
    (void)printf("%s: mark with text at %.3f s: %s %s\n", c->path, (double)m->at_ns * 1e-9, m->kind, m->text);
}

static int read_all(struct checking *c)
{
    struct err e;
    struct item it;
    struct progress progress;
    enum src_rc rc;
    progress_begin(&progress);
    while ((rc = source_next(c->source, &it, &e)) == SRC_ITEM || rc == SRC_QUIET) {
        if (rc == SRC_QUIET)
            continue;
        if (it.kind == ITEM_MARK)
            list_mark(c, &it.mark);
        check_item(c->check, &it);
        progress_tick(&progress, &it);
    }
    progress_clear(&progress);
    c->broke_off = rc == SRC_ERR;
    if (rc == SRC_ERR)
        say_error(c->a->cmd, &e);
    check_end(c->check, &c->report);
    return c->report.samples > 0 ? EXIT_DONE : EXIT_NOTHING;
}

static void print_channel(const struct checking *c, enum channel ch)
{
    const struct check_channel *x = &c->report.channel[ch];
    if (x->n + x->missing == 0)
        return;
    if (x->n > 0)
        (void)printf("  %-10s %.4g to %.4g; half of the samples within %.3g of 0; ", channel_name(ch), x->min, x->max, x->abs50);
    else
        (void)printf("  %-10s no value; ", channel_name(ch));
    if (x->step > 0)
        (void)printf("finest step %.3g; ", x->step);
    (void)printf("read as %s\n", source_info(c->source)->channel[ch].unit);
}

static void print_report(const struct checking *c)
{
    const struct check_report *r = &c->report;
    const struct recording_info *info = source_info(c->source);
    const bool log = strcmp(source_format(c->source), "log") == 0;
    (void)printf("%s: %s%s\n", c->path, log ? "log" : "text",
                 !log ? "" : source_closed_well(c->source) ? ", closed well" : ", not closed: it was cut off");
    (void)printf("  %llu samples over %.1f s; %.6g Hz %s\n", (unsigned long long)r->samples, (double)r->last_ns * 1e-9,
                 info->rate_den > 0 ? (double)info->rate_num / (double)info->rate_den : (double)NAN,
                 info->regular ? "(regular)" : "(each sample has its own time)");
    for (int ch = 0; ch < CH_N; ch++)
        print_channel(c, (enum channel)ch);
    (void)printf("  %llu marks, %llu of them with text\n", (unsigned long long)r->marks, c->text_marks);
    if (c->text_marks > MARKS_SHOWN)
        (void)printf("  %llu more marks with text are not listed\n", c->text_marks - MARKS_SHOWN);
    for (int i = 0; i < r->n_notes; i++)
        (void)printf("  %s: %s%s%s%s\n", finding_code[r->note[i].what], r->note[i].text, r->note[i].mend[0] ? " (" : "",
                     r->note[i].mend, r->note[i].mend[0] ? ")" : "");
    if (c->name_like)
        (void)puts("  subject: the code resembles a name, a date or a record number; use a random code");
    if (r->n_notes == 0)
        (void)printf("  nothing implausible was seen in %llu samples\n", (unsigned long long)r->samples);
}

static json_t *number(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

static int print_json(const struct checking *c)
{
    const struct check_report *r = &c->report;
    json_t *findings = json_array(), *channels = json_object();
    for (int i = 0; i < r->n_notes; i++)
        (void)json_array_append_new(findings, json_pack("{s:s,s:s,s:s}", "code", finding_code[r->note[i].what], "text",
                                                        r->note[i].text, "mend", r->note[i].mend));
    for (int k = 0; k < CH_N; k++)
        if (r->channel[k].n + r->channel[k].missing > 0)
            (void)json_object_set_new(channels, channel_name((enum channel)k),
                                      json_pack("{s:I,s:I,s:o,s:o,s:o}", "n", (json_int_t)r->channel[k].n, "missing",
                                                (json_int_t)r->channel[k].missing, "min", number(r->channel[k].min), "max",
                                                number(r->channel[k].max), "step", number(r->channel[k].step)));
    json_t *o = json_pack("{s:s,s:b,s:b,s:I,s:o,s:I,s:o,s:I,s:I,s:b,s:o,s:o}", "format", source_format(c->source),
                          "closed_well", source_closed_well(c->source), "broke_off", c->broke_off, "samples",
                          (json_int_t)r->samples, "last_s", number((double)r->last_ns * 1e-9), "gaps", (json_int_t)r->holes,
                          "gap_s", number(r->hole_s), "marks", (json_int_t)r->marks, "marks_with_text",
                          (json_int_t)c->text_marks, "subject_like_a_name", c->name_like, "channels", channels, "findings",
                          findings);
    if (!o || json_add_wording(o) != 0) {
        json_decref(o);
        return EXIT_NOTHING;
    }
    const int rc = json_write(o, say_bytes, NULL);
    json_decref(o);
    return rc == TM_OK ? EXIT_DONE : EXIT_OUTPUT;
}

static int judge(const struct checking *c)
{
    if (c->broke_off || c->name_like || (strcmp(source_format(c->source), "log") == 0 && !source_closed_well(c->source)))
        return EXIT_WRONG;
    for (int i = 0; i < c->report.n_notes; i++)
        if (c->report.note[i].what != CHECK_JITTER)
            return EXIT_WRONG;
    return EXIT_DONE;
}

static int check_one(struct checking *c, const struct import_opts *io)
{
    const struct notice_sink sink = {notices_hear, c->notices};
    struct err e;
    const int rc = source_open(&c->source, c->path, io, &sink, &e);
    if (rc != TM_OK) {
        say_error(c->a->cmd, &e);
        return status_of(rc);
    }
    if (check_new(&c->check, source_info(c->source)) != TM_OK) {
        say(c->a->cmd, "out of memory");
        return EXIT_NOTHING;
    }
    int status = read_all(c);
    if (status != EXIT_DONE) {
        say(c->a->cmd, "%s: no sample in it", c->path);
        return status;
    }
    c->name_like = check_name_like(source_info(c->source)->subject_code);
    if (args_given(c->a, "json"))
        status = print_json(c);
    else
        print_report(c);
    return status == EXIT_DONE ? judge(c) : status;
}

static int recover(const struct args *a, const char *path, const char *out)
{
    struct one_file *f = NULL;
    struct recover_report r;
    struct err e, why;
    struct notices *n = notices_new(a->cmd);
    const struct notice_sink sink = {notices_hear, n};
    int rc = n ? one_file_open(&f, out, args_given(a, "force"), &e) : err_set(&e, TM_ERR_MEMORY, "", 0, "", "out of memory");
    int status = rc == TM_OK ? EXIT_DONE : EXIT_OUTPUT;
    if (rc == TM_OK) {
        rc = log_recover(path, one_file_write, f, &r, &sink, &e);
        if (rc != TM_OK)
            status = one_file_failed(f, &why) ? EXIT_OUTPUT : status_of(rc);
        if (status == EXIT_OUTPUT)
            e = why;
    }
    if (rc == TM_OK && (rc = one_file_commit(f, &e)) != TM_OK)
        status = EXIT_OUTPUT;
    const int heard = n ? notices_end(n) : EXIT_DONE;
    if (rc != TM_OK) {
        say_error(a->cmd, &e);
    } else {
        say(a->cmd, "%s: %llu samples kept; %llu holes, %.1f s; the log was %s", out, (unsigned long long)r.samples,
            (unsigned long long)r.holes, r.lost_s, r.was_closed ? "closed" : "not closed");
        status = r.holes > 0 || r.lines_cut > 0 || !r.was_closed ? EXIT_WRONG : EXIT_DONE;
    }
    one_file_close(f);
    notices_free(n);
    return status > heard ? status : heard;
}

static int run(const struct args *a)
{
    struct import_opts io;
    int status = import_from_args(a, &io);
    if (status != EXIT_DONE)
        return status;
    if (args_given(a, "recover") && a->n_operands > 1)
        return say_usage(a->cmd, "--recover takes one FILE");
    if (args_given(a, "json") && a->n_operands > 1)
        return say_usage(a->cmd, "--json takes one FILE");
    say_caution();
    if (args_given(a, "recover"))
        return recover(a, a->operands[0], args_value(a, "recover"));
    for (int i = 0; i < a->n_operands; i++) {
        struct checking c = {.a = a, .path = a->operands[i], .notices = notices_new(a->cmd)};
        int one = c.notices ? check_one(&c, &io) : EXIT_NOTHING;
        const int heard = c.notices ? notices_end(c.notices) : EXIT_DONE;
        one = heard > one ? heard : one;
        status = one > status ? one : status;
        check_destroy(c.check);
        source_close(c.source);
        notices_free(c.notices);
    }
    return status;
}

static const char *const examples[] = {
    "tidemark check night.log.gz", "Whole or torn, rate, gaps, and what looks wrong.",
    "tidemark check torn.log.gz --recover whole.log.gz", "A clean, closed copy; what is lost stays a gap with its reason.",
    NULL, NULL};

const struct command command_check = {
    .name = "check",
    .summary = "is a recording whole and plausible; mend a torn log",
    .operands = "FILE...",
    .operands_min = 1,
    .operands_max = -1,
    .text = "Reads each FILE and tells whether it is whole, its rate and gaps, channels that are clipped or stuck, a sign or a "
            "unit that looks wrong, a subject code that resembles a name, and every mark with free text, which is where names "
            "hide before a recording is shared. Nothing is changed.\n\n"
            "The status is 1 if it is torn, or anything but marks and uneven steps was seen.",
    .opts = opts,
    .examples = examples,
    .run = run,
};
