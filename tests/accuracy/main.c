/* tidemark-accuracy: simulated patients in, docs/accuracy.md or a verdict out.
 *
 *   tidemark-accuracy TIDEMARK SCRATCH [--count N] [--first I] [--tuning] [--report FILE] [--bars] [--verbose] [--keep]
 *
 * Patients are numbered from 0; from 100 on they are those beside the bars. --tuning takes the other series, the only one
 * to look at while a threshold is moved. Exit 1 if --bars is given and one is missed. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/accuracy/report.h"
#include "tests/accuracy/runner.h"

struct args {
    struct run run;
    size_t first, count;
    bool tuning, bars, verbose;
    const char *report;
};

static bool parse(struct args *a, int argc, char **argv)
{
    if (argc < 3) {
        return false;
    }
    a->run.tidemark = argv[1];
    a->run.scratch = argv[2];
    for (int i = 3; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : NULL;
        if (strcmp(argv[i], "--tuning") == 0) {
            a->tuning = true;
        } else if (strcmp(argv[i], "--bars") == 0) {
            a->bars = true;
        } else if (strcmp(argv[i], "--verbose") == 0) {
            a->verbose = true;
        } else if (strcmp(argv[i], "--keep") == 0) {
            a->run.keep = true;
        } else if (value && strcmp(argv[i], "--count") == 0) {
            a->count = strtoul(argv[++i], NULL, 10);
        } else if (value && strcmp(argv[i], "--first") == 0) {
            a->first = strtoul(argv[++i], NULL, 10);
        } else if (value && strcmp(argv[i], "--report") == 0) {
            a->report = argv[++i];
        } else {
            return false;
        }
    }
    return a->count > 0 && a->first + a->count <= JUDGED_PATIENTS + BESIDE_PATIENTS;
}

static int write_report(const struct args *a, const struct records *r, const struct patient *patients)
{
    FILE *f = fopen(a->report, "wb");
    int rc = f ? report_write(f, r, patients, a->first + a->count, a->tuning ? "the tuning series" : "the judging series") : -1;
    if (f && (ferror(f) || fclose(f))) {
        rc = -1;
    }
    if (rc) {
        perror(a->report);
    }
    return rc;
}

static int judge(const struct args *a, struct patient *patients, struct records *r)
{
    int rc = run_patients(&a->run, patients + a->first, a->count, r);
    if (rc == 0 && a->verbose) {
        rc = report_patients(stdout, r, patients + a->first, a->count);
    }
    if (rc == 0 && a->report) {
        rc = write_report(a, r, patients);
    }
    if (rc) {
        return 1;
    }
    int missed = report_bars(stdout, r, patients);
    puts("| event | true | found | said where none is | breaths found inside |");
    report_events(stdout, r);
    return missed < 0 || (a->bars && missed > 0);
}

int main(int argc, char **argv)
{
    struct args a = {.run = {.jobs = 2}, .count = JUDGED_PATIENTS + BESIDE_PATIENTS};
    if (!parse(&a, argc, argv)) {
        fputs("usage: tidemark-accuracy TIDEMARK SCRATCH [--count N] [--first I] [--tuning] [--report FILE] [--bars] "
              "[--verbose] [--keep]\n", stderr);
        return 2;
    }
    struct patient *patients = calloc(a.first + a.count, sizeof *patients);
    if (!patients) {
        return 1;
    }
    for (size_t i = 0; i < a.first + a.count; i++) {
        patient_make(&patients[i], i, a.tuning ? TUNING_SEED : JUDGING_SEED);
    }
    struct records r = {0};
    int rc = judge(&a, patients, &r);
    records_free(&r);
    free(patients);
    return rc;
}
