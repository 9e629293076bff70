#include "tests/accuracy/efforts_scored.h"

#include <math.h>
#include <string.h>

#define WORDS 40

typedef const char *word_fn(const struct effort_record *r, const struct patient *p);

static const char *all(const struct effort_record *r, const struct patient *p)
{
    (void)r;
    (void)p;
    return "all";
}

static const char *stratum(const struct effort_record *r, const struct patient *p)
{
    (void)r;
    return stratum_word(p->stratum);
}

static const char *size(const struct effort_record *r, const struct patient *p)
{
    (void)r;
    return p->size;
}

static const char *lung(const struct effort_record *r, const struct patient *p)
{
    (void)r;
    return p->lung;
}

static const char *ward(const struct effort_record *r, const struct patient *p)
{
    (void)r;
    return p->ward;
}

static const char *answer(const struct effort_record *r, const struct patient *p)
{
    (void)p;
    return r->answered ? "answered" : "not answered";
}

static const char *known(const struct effort_record *r, const struct patient *p)
{
    (void)p;
    return *r->known ? r->known : "not found";
}

static void line(FILE *o, const struct efforts_scored *s, const struct patient *patients, word_fn *of, const char *word)
{
    struct numbers start = {0}, end = {0};
    size_t n = 0, hit = 0, covered = 0;
    for (size_t i = 0; i < s->n; i++) {
        const struct effort_record *r = &s->v[i];
        if (strcmp(of(r, &patients[r->patient]), word) != 0) {
            continue;
        }
        n++;
        hit += r->hit;
        covered += r->covered;
        if (numbers_add(&start, fabs(r->start_off_s)) || numbers_add(&end, fabs(r->end_off_s))) {
            break;
        }
    }
    fprintf(o, "| %s | %zu | %.1f | %.0f | %.0f | %.1f |\n", word, n, 100 * (double)hit / (double)n,
            1000 * numbers_quantile(&start, 0.5), 1000 * numbers_quantile(&end, 0.5), 100 * (double)covered / (double)hit);
    numbers_free(&start);
    numbers_free(&end);
}

static void by(FILE *o, const struct efforts_scored *s, const struct patient *patients, word_fn *of)
{
    const char *words[WORDS];
    size_t n = 0;
    for (size_t i = 0; i < s->n && n < WORDS; i++) {
        const char *w = of(&s->v[i], &patients[s->v[i].patient]);
        size_t k = 0;
        while (k < n && strcmp(words[k], w) != 0) {
            k++;
        }
        if (k == n) {
            words[n++] = w;
        }
    }
    for (size_t k = 0; k < n; k++) {
        line(o, s, patients, of, words[k]);
    }
}

void efforts_report(FILE *o, const struct efforts_scored *s, const struct patient *patients)
{
    static word_fn *const dimensions[] = {all, stratum, size, lung, ward, answer, known};
    fputs("| efforts of 3 cmH2O and more | true | found, % | start off, median, ms | neural end off, median, ms | size within 2 sd, % |\n"
          "|---|---|---|---|---|---|\n", o);
    for (size_t i = 0; i < sizeof dimensions / sizeof *dimensions; i++) {
        by(o, s, patients, dimensions[i]);
    }
    fputs("| patients without effort | hours | possible ones an hour | definite ones an hour |\n|---|---|---|---|\n", o);
    for (int k = 0; k < STRATA; k++) {
        fprintf(o, "| %s | %.1f | %.1f | %.1f |\n", stratum_word((enum stratum_of)k), s->passive[k].hours,
                (double)s->passive[k].possible / s->passive[k].hours, (double)s->passive[k].definite / s->passive[k].hours);
    }
}
