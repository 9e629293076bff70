/* tidemark breaths: recordings to tables. */
#include "analyze/program/import_args.h"
#include "analyze/program/night.h"
#include "analyze/program/pattern_args.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct opt opts[] = {
    {"output", 'o', "DIR", "", "", "Folder for the tables; made if it is missing. With several FILEs: a folder in it "
     "for each."},
    {"force", 'f', NULL, "", "", "Replace tables that are in the folder already."},
    IMPORT_OPTS,
    {"height-cm", 0, "CM", "cm", "as the recording says", "Height, for predicted body weight."},
    {"sex", 0, "SEX", "", "as the recording says", "f or m, for predicted body weight."},
    {"patient", 0, "SIZE", "", "as the recording says, else inferred", "adult, child or infant."},
    {"btps", 0, NULL, "", "", "Convert flow and volume to BTPS (37 C, ambient pressure, saturated), once, before all else."},
    {"gas", 0, "GAS", "", "as the recording says", "Gas condition of flow, for --btps: ATPS, ATPD, STPD or BTPS."},
    {"temp-c", 0, "T", "Cel", "22", "Temperature of ATPS or ATPD gas, for --btps."},
    {"baro-hpa", 0, "P", "hPa", "1013.25", "Barometric pressure, for --btps."},
    PATTERN_OPTS,
    {"marks", 0, "FILE", "", "", "Marks from a file: at_s (or time), kind, text."},
    {"from", 0, "T", "", "", "Write only what starts from here on: seconds of the recording, or RFC 3339."},
    {"to", 0, "T", "", "", "Write only what starts before this."},
    {"breath", 0, "N", "", "", "Print breath N in words. Tables are written only if -o is given too."},
    {"glance", 0, NULL, "", "on a terminal", "End with the night at a glance also where the output is no terminal."},
    {"json", 0, NULL, "", "", "Print the summary on standard output as JSON."},
    {NULL, 0, NULL, NULL, NULL, NULL},
};

static const char *const examples[] = {
    "tidemark breaths night.log.gz -o night", "All tables of a recorded night into the folder night.",
    "tidemark breaths study.csv -o study --columns time=t,pressure=2,flow=3 --flow-unit L/min",
    "A text file whose headings do not say enough.", NULL};

static int patient_opts(const struct args *a, struct night_opts *o)
{
    const char *sex = args_value(a, "sex"), *size = args_value(a, "patient");
    o->height_cm = (double)NAN;
    int rc = args_number(a, "height-cm", 20, 260, &o->height_cm);
    if (rc != EXIT_DONE)
        return rc;
    if (sex && strcmp(sex, "f") != 0 && strcmp(sex, "m") != 0)
        return say_usage(a->cmd, "--sex takes f or m, not '%s'", sex);
    o->sex = sex ? sex[0] : '\0';
    if (!size)
        o->patient = PATIENT_UNKNOWN;
    else if (strcmp(size, "adult") == 0)
        o->patient = PATIENT_ADULT;
    else if (strcmp(size, "child") == 0)
        o->patient = PATIENT_CHILD;
    else if (strcmp(size, "infant") == 0)
        o->patient = PATIENT_INFANT;
    else
        return say_usage(a->cmd, "--patient takes adult, child or infant, not '%s'", size);
    return EXIT_DONE;
}

static int gas_opts(const struct args *a, struct night_opts *o)
{
    const int rc = args_number(a, "temp-c", 0, 50, &o->temp_c);
    if (rc != EXIT_DONE)
        return rc;
    if (!o->btps && (o->gas || args_given(a, "temp-c") || args_given(a, "baro-hpa")))
        return say_usage(a->cmd, "--gas, --temp-c and --baro-hpa go with --btps");
    return args_number(a, "baro-hpa", 500, 1100, &o->baro_hpa);
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

static int several(const struct args *a, struct night_opts *o, const char *dir)
{
    char path[4096], other[4096];
    int worst = EXIT_DONE;
    if (mkdir(dir, 0777) != 0 && errno != EEXIST) {
        say(a->cmd, "%s: the folder can't be made: %s", dir, strerror(errno));
        return EXIT_OUTPUT;
    }
    for (int i = 0; i < a->n_operands; i++) {
        bool fits = sub_path(path, sizeof path, dir, a->operands[i]);
        for (int k = 0; fits && k < i; k++)
            if (sub_path(other, sizeof other, dir, a->operands[k]) && strcmp(path, other) == 0)
                fits = false;
        int status = EXIT_USAGE;
        if (fits) {
            o->path = a->operands[i];
            o->out = path;
            status = night_run(o);
        } else {
            say(a->cmd, "%s: its tables would go where another file's go; give it a run of its own", a->operands[i]);
        }
        worst = status > worst ? status : worst;
    }
    return worst;
}

static int run(const struct args *a)
{
    struct night_opts o = {.cmd = a->cmd, .args = a, .out = args_value(a, "output"), .force = args_given(a, "force"),
                           .from = args_value(a, "from"), .to = args_value(a, "to"), .marks = args_value(a, "marks"),
                           .json = args_given(a, "json"), .btps = args_given(a, "btps"), .gas = args_value(a, "gas"),
                           .temp_c = 22, .baro_hpa = 1013.25};
    o.glance = args_given(a, "glance") || (!o.json && isatty(STDOUT_FILENO) == 1);
    int rc = import_from_args(a, &o.import);
    if (rc == EXIT_DONE)
        rc = patient_opts(a, &o);
    if (rc == EXIT_DONE)
        rc = args_integer(a, "breath", 1, 1000000000, &o.breath);
    if (rc == EXIT_DONE)
        rc = gas_opts(a, &o);
    if (rc == EXIT_DONE)
        rc = patterns_from_args(a, &o.patterns);
    if (rc != EXIT_DONE)
        return rc;
    if (o.breath > 0)
        o.glance = args_given(a, "glance");
    if (!o.out && o.breath == 0 && !o.json && !args_given(a, "glance"))
        return say_usage(a->cmd, "-o DIR is missing: where do the tables go?");
    if (a->n_operands > 1 && (!o.out || o.breath > 0))
        return say_usage(a->cmd, "several FILEs need -o DIR, and --breath takes one FILE");
    say_caution();
    if (a->n_operands > 1)
        return several(a, &o, o.out);
    o.path = a->operands[0];
    return night_run(&o);
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
