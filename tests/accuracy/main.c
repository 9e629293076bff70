/* tidemark-accuracy: simulated patients in, docs/accuracy.md or a verdict out.
 *
 *   tidemark-accuracy TIDEMARK SIM JUDGE SCRATCH [--series judge|quiet|sim|tuning] [--count N] [--first I] [--step K] [--bars] [--guard]
 *                     [--verbose] [--keep] [--report FILE --judge-sources DIR --runs FILE --changed TEXT]
 *
 * Patients of a series are numbered from 0; every K-th is taken. Without --series: the judge's patients and its quiet
 * recordings. "tuning" is the only series to look at while a threshold is moved. --report writes the page and adds this run
 * to the log of judged runs. Exit 1 if --bars is given and one is missed, or --guard and one is broken. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/accuracy/bars.h"
#include "tests/accuracy/report.h"
#include "tests/accuracy/runner.h"
#include "tests/accuracy/runs.h"

struct args {
    struct run run;
    enum series series; /* SERIES_N: judge and quiet */
    size_t first, count, step;
    bool bars, guard, verbose;
    const char *report, *sources, *runs, *changed;
};

static bool flag(struct args *a, const char *name)
{
    bool *to = strcmp(name, "--bars") == 0 ? &a->bars : strcmp(name, "--guard") == 0 ? &a->guard : strcmp(name, "--verbose") == 0 ? &a->verbose
               : strcmp(name, "--keep") == 0 ? &a->run.keep : NULL;
    if (to) {
        *to = true;
    }
    return to != NULL;
}

static bool named_series(struct args *a, const char *name)
{
    a->series = SERIES_JUDGE;
    while (a->series < SERIES_N && strcmp(series_name(a->series), name) != 0) {
        a->series++;
    }
    return a->series < SERIES_N;
}

static bool parse(struct args *a, int argc, char **argv)
{
    struct { const char *name; size_t *number; const char **text; } options[] = {
        {"--first", &a->first, NULL},   {"--count", &a->count, NULL},        {"--step", &a->step, NULL},
        {"--report", NULL, &a->report}, {"--judge-sources", NULL, &a->sources}, {"--runs", NULL, &a->runs},
        {"--changed", NULL, &a->changed}};
    if (argc < 5) {
        return false;
    }
    a->run.tidemark = argv[1];
    a->run.sim = argv[2];
    a->run.judge = argv[3];
    a->run.scratch = argv[4];
    for (int i = 5; i < argc; i++) {
        size_t k = 0, n = sizeof options / sizeof *options;
        if (flag(a, argv[i])) {
            continue;
        }
        if (++i == argc) {
            return false;
        }
        while (k < n && strcmp(options[k].name, argv[i - 1]) != 0) {
            k++;
        }
        if (k < n && options[k].number) {
            *options[k].number = strtoul(argv[i], NULL, 10);
        } else if (k < n) {
            *options[k].text = argv[i];
        } else if (strcmp(argv[i - 1], "--series") != 0 || !named_series(a, argv[i])) {
            return false;
        }
    }
    return a->step > 0 && (!a->report || (a->sources && a->runs && a->changed));
}

/* Every step-th of a series, appended to v; returns how many. */
static size_t take(struct patient *v, size_t at, enum series s, const struct args *a)
{
    size_t n = 0;
    for (size_t i = a->first; i < series_count(s) && n < a->count; i += a->step) {
        patient_make(&v[at + n], at + n, s, i);
        n++;
    }
    return n;
}

static int write_report(const struct args *a, const struct records *r, const struct patient *patients, size_t n)
{
    char hash[JUDGE_HASH_LENGTH + 1];
    struct bar bars[BARS_MAX];
    int n_bars = (int)bars_judge(bars, r, patients), held = 0;
    for (int i = 0; i < n_bars; i++) {
        held += bars[i].held;
    }
    if (judge_hash(a->sources, hash) || runs_add(a->runs, hash, n, held, n_bars, a->changed)) {
        return -1;
    }
    char *runs = runs_section(a->runs, hash);
    FILE *f = runs ? fopen(a->report, "wb") : NULL;
    int rc = f ? report_write(f, r, patients, n, runs) : -1;
    if (f && (ferror(f) || fclose(f))) {
        rc = -1;
    }
    if (rc) {
        perror(a->report);
    }
    free(runs);
    return rc;
}

static int judge(const struct args *a, struct patient *patients, size_t n, struct records *r)
{
    int rc = run_patients(&a->run, patients, n, r);
    if (rc == 0 && a->verbose) {
        rc = report_patients(stdout, r, patients, n);
    }
    if (rc == 0 && a->report) {
        rc = write_report(a, r, patients, n);
    }
    if (rc) {
        return 1;
    }
    int missed = report_bars(stdout, r, patients);
    if (drive_print(r, patients) || burden_print(r, patients)) {
        missed = -1;
    }
    puts("| event | true | found | said where none is | breaths found inside |");
    report_events(stdout, r);
    efforts_report(stdout, &r->efforts, patients);
    int broken = a->guard ? guard_judge(r, patients) : 0;
    return missed < 0 || broken != 0 || (a->bars && missed > 0);
}

int main(int argc, char **argv)
{
    struct args a = {.run = {.jobs = 2}, .series = SERIES_N, .count = 100000, .step = 1};
    if (!parse(&a, argc, argv)) {
        fputs("usage: tidemark-accuracy TIDEMARK SIM JUDGE SCRATCH [--series judge|quiet|sim|tuning] [--count N] [--first I] [--step K]\n"
              "  [--bars] [--guard] [--verbose] [--keep] [--report FILE --judge-sources DIR --runs FILE --changed TEXT]\n", stderr);
        return 2;
    }
    size_t most = 0;
    for (enum series s = SERIES_JUDGE; s < SERIES_N; s++) {
        most += series_count(s);
    }
    struct patient *patients = calloc(most, sizeof *patients);
    if (!patients) {
        return 1;
    }
    size_t n = take(patients, 0, a.series == SERIES_N ? SERIES_JUDGE : a.series, &a);
    n += a.series == SERIES_N ? take(patients, n, SERIES_QUIET, &a) : 0;
    struct records r = {0};
    int rc = n ? judge(&a, patients, n, &r) : 2;
    records_free(&r);
    free(patients);
    return rc;
}
