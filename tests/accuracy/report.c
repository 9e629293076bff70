#include "tests/accuracy/report.h"

#include <math.h>
#include <string.h>

static const char preface[] =
    "# Accuracy on simulated patients\n\n"
    "Written by `cmake --build build --target accuracy`; not to be edited by hand.\n\n"
    "## What this can't tell\n\n"
    "A simulated patient does what the simulator's authors thought of. Its lung is one linear compartment with one\n"
    "resistance each way, its efforts have three smooth shapes, its noise is white, its sensor is as good as stated, and the\n"
    "program and the simulator were written side by side, from one body of physiology. Real lungs are unequal, real tubes hold\n"
    "water, real sensors drift, real people cough, talk and turn over, and real machines do what nobody documented. So these\n"
    "figures say whether the arithmetic and the rules hold where the answer is known; they are an upper bound of how the\n"
    "program does on a ward, and say nothing about a given patient. On openly published recordings of real breathing only the\n"
    "onsets and the volumes can be compared (`tests/open_data`).\n\n"
    "## How it was judged\n\n"
    "Each patient is made from a number (`fixtures/sim/case_patient.c`): ten minutes, own lung, settings, efforts, noise,\n"
    "and events. Thresholds were tuned on other numbers than these. A true breath and a found one belong together if they\n"
    "start within 0.3 s of each other, one to one, the nearest first. A breath counts from 40 mL inspired on. Breaths inside\n"
    "suction, disconnection, holds, sustained inflation and apnoea are not scored, nor those cut by the recording's ends\n"
    "(start in its first 0.3 s); a breath found inside an event is counted by itself. Bars on values take gain and zero of\n"
    "the sensor as exact. Clean: noise sd 0.05 cmH2O and 0.003 L/s, no heart, no leak.\n"
    "Ordinary: 0.15 and 0.008, heart to 2 L/min, leak to 10 %. Heavy: 0.4 and 0.02, heart to 5 L/min, leak to 30 %,\n"
    "secretions. Values are found less true, volumes in % of the true inspired volume; limits are 1.96 standard deviations\n"
    "either side of the bias, over breaths; intervals are Wilson's, 95 %, and take breaths as independent, which those of one\n"
    "patient are not: look at the worst patient too. Bands and strata: common practice, no source.\n\n";

static double share(size_t x, size_t n)
{
    return n ? 100 * (double)x / (double)n : (double)NAN;
}

/* A number as a cell; nothing to say is a dash. */
static void cell(FILE *o, double x, int decimals)
{
    if (isnan(x)) {
        fputs(" - |", o);
    } else {
        fprintf(o, " %.*f |", decimals, x);
    }
}

static void interval(FILE *o, size_t x, size_t n)
{
    double low, high;
    wilson(x, n, &low, &high);
    if (n == 0) {
        fputs(" - |", o);
    } else {
        fprintf(o, " %.2f (%.2f-%.2f) |", share(x, n), 100 * low, 100 * high);
    }
}

static void bias(FILE *o, const struct numbers *s, int decimals)
{
    if (s->n < 2) {
        fputs(" - |", o);
    } else {
        fprintf(o, " %+.*f +- %.*f |", decimals, numbers_mean(s), decimals, 1.96 * numbers_sd(s));
    }
}

static void segmentation_row(FILE *o, struct sum *s)
{
    fprintf(o, " %zu | %zu | %zu |", s->hit + s->miss, s->miss, s->extra);
    interval(o, s->hit, s->hit + s->miss);
    interval(o, s->hit, s->hit + s->extra);
    cell(o, 1000 * numbers_quantile(&s->onset_machine, 0.5), 1);
    cell(o, 1000 * numbers_quantile(&s->onset_machine, 0.95), 1);
    cell(o, 1000 * numbers_quantile(&s->onset_unassisted, 0.95), 1);
    cell(o, 1000 * numbers_quantile(&s->onset_heart, 0.95), 1);
}

static void values_row(FILE *o, struct sum *s)
{
    bias(o, &s->vti, 2);
    bias(o, &s->vte, 2);
    bias(o, &s->pip, 2);
    bias(o, &s->peep, 2);
    bias(o, &s->pmean, 3);
    cell(o, 100 * numbers_mean(&s->kind), 2);
    cell(o, 100 * numbers_mean(&s->initiation), 2);
    cell(o, 100 * numbers_mean(&s->control), 2);
}

static void mechanics_row(FILE *o, struct sum *s)
{
    fprintf(o, " %zu |", s->eligible);
    cell(o, share(s->given, s->eligible), 1);
    fprintf(o, " %zu |", s->c_all);
    bias(o, &s->c, 1);
    cell(o, share(s->c_wrong, s->c_all), 2);
    bias(o, &s->r, 1);
    bias(o, &s->re, 1);
    cell(o, share(s->r_wrong, s->r_all), 2);
}

static int table(FILE *o, const struct records *r, const struct patient *patients, const char *title, const char *head,
                 void row(FILE *, struct sum *))
{
    fprintf(o, "## %s\n\n| part |%s\n|---|", title, head);
    for (const char *p = head; *p; p++) {
        if (*p == '|') {
            fputs("---|", o);
        }
    }
    fputc('\n', o);
    int rc = 0;
    for (size_t i = 0; i < parts_count(); i++) {
        struct sum s;
        rc |= sum_part(&s, r, patients, parts_get(i)->fn, parts_get(i)->argument);
        if (s.hit + s.miss) {
            fprintf(o, "| %s |", parts_get(i)->name);
            row(o, &s);
            fputc('\n', o);
        }
        sum_free(&s);
    }
    fputc('\n', o);
    return rc;
}

int report_bars(FILE *o, const struct records *r, const struct patient *patients)
{
    struct bar bars[BARS_MAX];
    size_t n = bars_judge(bars, r, patients);
    int missed = 0;
    for (size_t i = 0; i < n; i++) {
        fprintf(o, "| %s |", bars[i].what);
        cell(o, bars[i].measured, bars[i].decimals);
        fprintf(o, " %s %g | %s |\n", bars[i].at_least ? "at least" : "at most", bars[i].limit,
                bars[i].held ? "held" : "MISSED");
        missed += !bars[i].held;
    }
    return n ? missed : -1;
}

/* Median and worst patient of each figure, over the judged ones. */
static int by_patient(FILE *o, const struct records *r, const struct patient *patients, size_t n)
{
    static const char *const names[] = {"sensitivity, %", "positive predictive value, %", "VTi bias, %", "VTe bias, %",
                                        "PIP bias, cmH2O", "PEEP bias, cmH2O", "mean pressure bias, cmH2O",
                                        "compliance bias, %", "resistance bias, %"};
    enum { FIGURES = sizeof names / sizeof *names };
    struct numbers f[FIGURES] = {{0}};
    int rc = 0;
    for (size_t i = 0; i < n; i++) {
        struct sum s;
        rc |= sum_part(&s, r, patients, part_patient, (long)patients[i].number);
        if (patients[i].judged && s.hit + s.miss) {
            const double v[FIGURES] = {share(s.hit, s.hit + s.miss), share(s.hit, s.hit + s.extra), numbers_mean(&s.vti),
                                       numbers_mean(&s.vte), numbers_mean(&s.pip), numbers_mean(&s.peep),
                                       numbers_mean(&s.pmean), numbers_mean(&s.c), numbers_mean(&s.r)};
            for (int k = 0; k < FIGURES; k++) {
                rc |= numbers_add(&f[k], v[k]);
            }
        }
        sum_free(&s);
    }
    fputs("## By patient\n\n| figure | patients | median | worst |\n|---|---|---|---|\n", o);
    for (int k = 0; k < FIGURES; k++) {
        fprintf(o, "| %s | %zu |", names[k], f[k].n);
        cell(o, numbers_quantile(&f[k], 0.5), 2);
        cell(o, k < 2 ? numbers_quantile(&f[k], 0) : numbers_worst(&f[k]), 2);
        fputc('\n', o);
        numbers_free(&f[k]);
    }
    fputc('\n', o);
    return rc;
}

void report_events(FILE *o, const struct records *r)
{
    for (size_t i = 0; i < EVENT_NAMES; i++) {
        const struct event_count *e = &r->events[i];
        fprintf(o, "| %s | %zu | %zu | %zu | %zu |\n", judged_event(i), e->truly, e->found, e->extra, e->breaths);
    }
}

int report_write(FILE *o, const struct records *r, const struct patient *patients, size_t n, const char *series)
{
    fputs(preface, o);
    fprintf(o, "Patients: %zu, %s.\n\n", n, series);
    fputs("## Bars\n\nOver the clean and ordinary patients; values from 50 Hz and under 15 % leak, sensor gain and zero "
          "exact.\n\n| what | measured | bar | |\n|---|---|---|---|\n", o);
    int rc = report_bars(o, r, patients) < 0 ? -1 : 0;
    fputc('\n', o);
    rc |= table(o, r, patients, "Breaths and their onsets",
                " breaths | missed | extra | sensitivity, % | positive predictive value, % | machine onset, median ms | "
                "95th percentile | unassisted, 95th | with heart, 95th |",
                segmentation_row);
    rc |= table(o, r, patients, "Volumes, pressures and kinds",
                " VTi, % | VTe, % | PIP, cmH2O | PEEP, cmH2O | mean, cmH2O | kind right, % | initiation, % | control, % |",
                values_row);
    rc |= table(o, r, patients, "Compliance and resistance",
                " eligible | given, % | given in all | compliance, % | wrong by 20 %, % | Ri, % | Re, % | wrong by 20 %, % |",
                mechanics_row);
    rc |= by_patient(o, r, patients, n);
    fputs("## Events\n\nFound: starts within 1 s of the true one and overlaps it by half. Of an open "
          "circuit either suction or disconnection is accepted: pressure and flow are the same.\n\n"
          "| event | true | found | said where none is | breaths found inside |\n|---|---|---|---|---|\n", o);
    report_events(o, r);
    return rc;
}

static void first_mismatches(FILE *o, const struct records *r, const struct patient *p)
{
    int told = 0;
    for (size_t i = 0; i < r->n && told < 6; i++) {
        const struct record *rec = &r->v[i];
        if (rec->patient != p->number) {
            continue;
        }
        const char *what = rec->outcome == MISS ? "missed" : rec->outcome == EXTRA ? "extra"
                           : fabs(rec->vti_pct) > 10 ? "VTi off by over 10 %"
                           : fabs(rec->c_pct) > 20   ? "compliance off by over 20 %"
                           : rec->kind == 0          ? "another kind"
                                                     : NULL;
        if (what) {
            fprintf(o, "    %.2f s: %s (%s)\n", rec->t_s, what, rec->control);
            told++;
        }
    }
}

int report_patients(FILE *o, const struct records *r, const struct patient *patients, size_t n)
{
    int rc = 0;
    fputs("number seed stratum rate ward | breaths missed extra | machine onset p95 ms | VTi VTe % | PIP PEEP mean | "
          "kind % | C % given/eligible\n", o);
    for (size_t i = 0; i < n; i++) {
        const struct patient *p = &patients[i];
        struct sum s;
        rc |= sum_part(&s, r, patients, part_patient, (long)p->number);
        fprintf(o, "%3zu %llu %s %s %s | %zu %zu %zu | %.1f | %+.2f %+.2f | %+.2f %+.2f %+.3f | %.1f | %+.1f %zu/%zu\n",
                p->number, (unsigned long long)p->seed, stratum_name(p->stratum), p->rate, ward_name(p->ward),
                s.hit + s.miss, s.miss, s.extra, 1000 * numbers_quantile(&s.onset_machine, 0.95), numbers_mean(&s.vti),
                numbers_mean(&s.vte), numbers_mean(&s.pip), numbers_mean(&s.peep), numbers_mean(&s.pmean),
                100 * numbers_mean(&s.kind), numbers_mean(&s.c), s.given, s.eligible);
        first_mismatches(o, r, p);
        sum_free(&s);
    }
    return rc;
}
