/* tidemark breaths: recordings to tables. */
#include "analyze/program/breaths_run.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct opt opts[] = {
    {"output", 'o', "DIR", "", "", "Folder for the tables; made if it is missing. With several FILEs: a folder in it "
     "for each."},
    {"force", 0, NULL, "", "", "Replace tables that are in the folder already."},
    INPUT_OPTS,
    PATIENT_OPTS,
    {"btps", 0, NULL, "", "", "Convert flow to BTPS once, at the door."},
    {"gas", 0, "COND", "", "the header's", "Gas condition of flow: BTPS, ATPS, ATPD, STPD (with --btps)."},
    {"temp-c", 0, "C", "Cel", "22", "Temperature of ATPS or ATPD gas (with --btps)."},
    {"baro-hpa", 0, "HPA", "hPa", "1013.25", "Barometric pressure (with --btps)."},
    {"marks", 0, "FILE", "", "", "Marks from a file: at_s,kind,text or time,kind,text."},
    {"from", 0, "S", "s", "0", "Only samples from this time of the recording on."},
    {"to", 0, "S", "s", "the end", "Only samples before this time."},
    {"breath", 0, "N", "", "", "Print breath N in words; tables are written only if -o is given too."},
    {"glance", 0, NULL, "", "on a terminal", "End with the night at a glance also where the output is no terminal."},
    {"json", 0, NULL, "", "", "Print summary.json on standard output."},
    {NULL, 0, NULL, NULL, NULL, NULL},
};

static const char *const examples[] = {
    "tidemark breaths night.log.gz -o night", "All tables of a recorded night into the folder night.",
    "tidemark breaths study.csv -o study --columns time=t,pressure=2,flow=3 --flow-unit L/min",
    "A text file whose headings do not say enough.", NULL};

static void print_file(const char *folder, const char *name)
{
    char path[4096], buf[8192];
    if (snprintf(path, sizeof path, "%s/%s", folder, name) >= (int)sizeof path)
        return;
    FILE *f = fopen(path, "r");
    size_t n;
    while (f && (n = fread(buf, 1, sizeof buf, f)) > 0)
        (void)fwrite(buf, 1, n, stdout);
    if (f)
        (void)fclose(f);
}

static int one(const struct args *a, const char *path, const char *out_path)
{
    struct run *r = calloc(1, sizeof *r);
    struct import_opts in;
    double from = -1, to = -1;
    if (!r || !(r->notices = notices_new(a->cmd))) {
        free(r);
        say(a->cmd, "out of memory");
        return EXIT_NOTHING;
    }
    r->args = a;
    int status = input_opts(a, &in);
    if (status == EXIT_DONE)
        status = args_number(a, "from", 0, 1e9, &from);
    if (status == EXIT_DONE)
        status = args_number(a, "to", 0, 1e9, &to);
    if (status == EXIT_DONE)
        status = args_integer(a, "breath", 1, 1000000000, &r->only_breath);
    if (status == EXIT_DONE && from >= 0 && to >= 0 && to <= from)
        status = say_usage(a->cmd, "--to is not after --from");
    r->from_ns = from < 0 ? -1 : (int64_t)(from * 1e9);
    r->to_ns = to < 0 ? -1 : (int64_t)(to * 1e9);
    if (status == EXIT_DONE)
        status = input_open(a, path, &in, r->notices, &r->source);
    if (status == EXIT_DONE) {
        status = breaths_run(r, path, out_path);
        int told = notices_end(r->notices);
        status = told > status ? told : status;
        if (status <= EXIT_WRONG) {
            if (r->only_breath > 0 && r->picked.number == 0) {
                say(a->cmd, "there is no breath %ld", r->only_breath);
                status = EXIT_NOTHING;
            } else if (r->only_breath > 0) {
                glance_breath(stdout, r);
            } else if (args_given(a, "json")) {
                print_file(out_path, "summary.json");
            } else if (args_given(a, "glance") || isatty(STDOUT_FILENO) == 1) {
                glance_print(stdout, r);
            }
        }
    } else {
        (void)notices_end(r->notices);
    }
    breaths_run_free(r);
    notices_free(r->notices);
    free(r);
    return status;
}

/* Folder for one of several files: its name without what follows the first dot. */
static bool sub_path(char *out, size_t cap, const char *dir, const char *file)
{
    const char *base = strrchr(file, '/');
    base = base ? base + 1 : file;
    size_t n = strcspn(base, ".");
    if (n == 0)
        n = strlen(base);
    int len = snprintf(out, cap, "%s/%.*s", dir, (int)n, base);
    return len > 0 && (size_t)len < cap;
}

static int several(const struct args *a, const char *dir)
{
    char path[4096], other[4096];
    int worst = EXIT_DONE;
    if (mkdir(dir, 0777) != 0 && access(dir, W_OK) != 0) {
        say(a->cmd, "%s: the folder can't be made", dir);
        return EXIT_OUTPUT;
    }
    for (int i = 0; i < a->n_operands; i++) {
        bool fits = sub_path(path, sizeof path, dir, a->operands[i]);
        for (int k = 0; fits && k < i; k++)
            if (sub_path(other, sizeof other, dir, a->operands[k]) && strcmp(path, other) == 0)
                fits = false;
        if (!fits)
            say(a->cmd, "%s: its tables would go where another file's go; give it a run of its own", a->operands[i]);
        int status = fits ? one(a, a->operands[i], path) : EXIT_USAGE;
        worst = status > worst ? status : worst;
    }
    return worst;
}

static int run(const struct args *a)
{
    const char *dir = args_value(a, "output");
    if (!dir && !args_given(a, "breath"))
        return say_usage(a->cmd, "-o DIR is missing: where do the tables go?");
    if (a->n_operands > 1 && (!dir || args_given(a, "breath") || args_given(a, "json")))
        return say_usage(a->cmd, "--breath and --json take one FILE");
    if (!dir && args_given(a, "json"))
        return say_usage(a->cmd, "--json needs -o DIR");
    say_caution();
    return a->n_operands == 1 ? one(a, a->operands[0], dir) : several(a, dir);
}

const struct command command_breaths = {
    .name = "breaths",
    .summary = "recordings to tables of breaths, events and hours, with a summary",
    .operands = "FILE...",
    .operands_min = 1,
    .operands_max = -1,
    .text = "Finds and measures every breath of a recording and writes breaths.csv, flags.csv, events.csv, hours.csv, "
            "trials.csv, limits.csv, summary.json and dictionary.json into a folder. FILE is a log or delimited text, "
            "plain or gzipped; - is standard input.\n\n"
            "Headings that name a signal and its unit (t_s, Paw [cmH2O], flow_l_min and their like) need no option. A unit "
            "that stands nowhere is asked for, never guessed. An empty cell is an answer: why_empty gives the reason.",
    .opts = opts,
    .examples = examples,
    .run = run,
};
