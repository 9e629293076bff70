/* Patterns in docs/accuracy.md: clean and ordinary strata, a breath a unit; definite and possible flags apart. */
#include <math.h>
#include <string.h>

#include "tests/accuracy/parts.h"
#include "tests/accuracy/report.h"

#define LEAST_OF_PATIENT 10 /* true ones: fewer say nothing of a patient */

static double percent(size_t x, size_t n)
{
    return n ? 100.0 * (double)x / (double)n : (double)NAN;
}

static void put(FILE *o, double v, int decimals)
{
    if (isnan(v)) {
        fputs(" - |", o);
    } else {
        fprintf(o, " %.*f |", decimals, v);
    }
}

static bool judged_here(const struct record *rec, const struct patient *p, const void *unused)
{
    (void)rec;
    (void)unused;
    return p->stratum != HEAVY && p->series != SERIES_QUIET;
}

static bool of_patient(const struct record *rec, const struct patient *p, const void *index)
{
    return rec->patient == *(const size_t *)index && judged_here(rec, p, NULL);
}

/* At other prevalences than the series' own: a flag is right in sens p / (sens p + (1 - spec) (1 - p)). */
static double ppv_at(const struct pattern_count *c, double prevalence)
{
    double sens = (double)c->is_flag / (double)c->is, fall = (double)c->isnt_flag / (double)c->isnt;
    return 100 * sens * prevalence / (sens * prevalence + fall * (1 - prevalence));
}

static void overall(FILE *o, const struct sum *s)
{
    fputs("## Patterns\n\nClean and ordinary strata. A breath that truly has the pattern and was not judged counts as not found. Patterns of\n"
          "effort: efforts of at least 3 cmH2O and twice the heart's bump; smaller ones, and what truth leaves between, count neither\n"
          "way. At a prevalence of 1 and 10 %: what share of flags would be right where that share of breaths has the pattern.\n\n"
          "| pattern | truly | sensitivity, % | unjudged, % | positive predictive value, % | specificity, % | definite flags | right, % | "
          "possible flags | right, % | right at 1 %, % | at 10 %, % |\n|---|---|---|---|---|---|---|---|---|---|---|---|\n", o);
    for (size_t i = 0; i < PATTERNS_SCORED; i++) {
        const struct pattern_count *c = &s->pattern[i];
        size_t definite = c->is_definite + c->isnt_definite, flags = c->is_flag + c->isnt_flag;
        fprintf(o, "| %s | %zu |", pattern_scored(i)->name, c->is);
        put(o, percent(c->is_flag, c->is), 1);
        put(o, percent(c->is_unjudged, c->is), 1);
        put(o, percent(c->is_flag, flags), 1);
        put(o, percent(c->isnt - c->isnt_flag, c->isnt), 2);
        fprintf(o, " %zu |", definite);
        put(o, percent(c->is_definite, definite), 1);
        fprintf(o, " %zu |", flags - definite);
        put(o, percent(c->is_flag - c->is_definite, flags - definite), 1);
        put(o, ppv_at(c, 0.01), 0);
        put(o, ppv_at(c, 0.10), 0);
        fputc('\n', o);
    }
    fputc('\n', o);
}

/* Sensitivity by patient, of those with enough true ones. */
static int patients_table(FILE *o, const struct records *r, const struct patient *patients, size_t n)
{
    struct numbers sens[PATTERNS_SCORED] = {{0}};
    size_t under[PATTERNS_SCORED] = {0};
    int rc = 0;
    for (size_t k = 0; k < n; k++) {
        struct sum s;
        rc |= sum_part(&s, r, patients, of_patient, &patients[k].index);
        for (size_t i = 0; i < PATTERNS_SCORED; i++) {
            const struct pattern_count *c = &s.pattern[i];
            if (c->is >= LEAST_OF_PATIENT) {
                rc |= numbers_add(&sens[i], percent(c->is_flag, c->is));
                under[i] += percent(c->is_flag, c->is) < 60;
            }
        }
        sum_free(&s);
    }
    fprintf(o, "### By patient: sensitivity, of patients with at least %d true ones\n\n"
            "| pattern | patients | median, %% | lowest quarter, %% | worst, %% | patients under 60 %% |\n|---|---|---|---|---|---|\n", LEAST_OF_PATIENT);
    for (size_t i = 0; i < PATTERNS_SCORED; i++) {
        fprintf(o, "| %s | %zu |", pattern_scored(i)->name, sens[i].n);
        put(o, numbers_quantile(&sens[i], 0.5), 1);
        put(o, numbers_quantile(&sens[i], 0.25), 1);
        put(o, numbers_quantile(&sens[i], 0), 1);
        fprintf(o, " %zu |\n", under[i]);
        numbers_free(&sens[i]);
    }
    fputc('\n', o);
    return rc;
}

/* Truly so down, flagged as across: a breath may be several things at once. */
static void confusion(FILE *o, const struct records *r, const struct patient *patients)
{
    size_t n[PATTERNS_SCORED][PATTERNS_SCORED] = {{0}};
    for (size_t k = 0; k < r->n; k++) {
        const struct record *rec = &r->v[k];
        for (size_t i = 0; i < PATTERNS_SCORED && rec->outcome == HIT && judged_here(rec, &patients[rec->patient], NULL); i++) {
            for (size_t j = 0; j < PATTERNS_SCORED && rec->is[i] == 1; j++) {
                n[i][j] += pattern_flagged(rec->said[j]);
            }
        }
    }
    fputs("### Truly so down, flagged as across, in breaths\n\nA breath may be several things at once.\n\n| |", o);
    for (size_t j = 0; j < PATTERNS_SCORED; j++) {
        fprintf(o, " %s |", pattern_scored(j)->name);
    }
    fputs("\n|---|---|---|---|---|---|---|---|---|---|---|---|---|\n", o);
    for (size_t i = 0; i < PATTERNS_SCORED; i++) {
        fprintf(o, "| %s |", pattern_scored(i)->name);
        for (size_t j = 0; j < PATTERNS_SCORED; j++) {
            fprintf(o, " %zu |", n[i][j]);
        }
        fputc('\n', o);
    }
    fputc('\n', o);
}

int report_patterns(FILE *o, const struct records *r, const struct patient *patients, size_t n)
{
    struct sum s;
    int rc = sum_part(&s, r, patients, judged_here, NULL);
    overall(o, &s);
    sum_free(&s);
    rc |= patients_table(o, r, patients, n);
    confusion(o, r, patients);
    return rc;
}
