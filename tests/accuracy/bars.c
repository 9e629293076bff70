#include "tests/accuracy/bars_internal.h"

#include <math.h>
#include <stdio.h>

/* Which records a bar takes. -1 stands for any; NOT_HEAVY for the clean and the ordinary ones. */
#define NOT_HEAVY (-2)
struct scope {
    int stratum;
    int two_level; /* 1 these alone, 0 not these */
    double from_hz;
    bool values; /* truth.md: from 50 Hz, leak under 15 %, one linear compartment, sensor gain and zero exact */
    int false_trigger;
    bool breathing; /* no quiet recording */
};

static bool in_scope(const struct record *rec, const struct patient *p, const void *argument)
{
    const struct scope *s = argument;
    bool plain = p->rate_hz >= 50 && !(rec->leak_pct >= 15) && p->exact_sensor;
    bool stratum = s->stratum == NOT_HEAVY ? p->stratum != HEAVY : s->stratum < 0 || p->stratum == (enum stratum_of)s->stratum;
    return stratum && (s->two_level < 0 || p->two_level == s->two_level) &&
           p->rate_hz >= s->from_hz && (!s->values || (plain && rec->plain && !(rec->efl_share >= 0.1))) &&
           (s->false_trigger < 0 || rec->false_trigger == s->false_trigger) && (p->series == SERIES_QUIET) != s->breathing;
}

struct bar *bar_add(struct bars *b, const char *stratum, const char *what, double measured, double limit, bool at_least,
                       int decimals)
{
    struct bar *bar = &b->v[b->n++];
    *bar = (struct bar){.measured = measured, .limit = limit, .low = NAN, .high = NAN, .at_least = at_least,
                        .decimals = decimals, .held = at_least ? measured >= limit : measured <= limit};
    snprintf(bar->what, sizeof bar->what, "%s%s%s", stratum, *stratum ? ": " : "", what);
    return bar;
}

void bar_add_share(struct bars *b, const char *stratum, const char *what, size_t x, size_t n, double limit, bool at_least,
                      int decimals)
{
    struct bar *bar = bar_add(b, stratum, what, n ? 100 * (double)x / (double)n : (double)NAN, limit, at_least, decimals);
    wilson(x, n, &bar->low, &bar->high);
    bar->low *= 100;
    bar->high *= 100;
}

static void add_within(struct bars *b, const char *stratum, const char *what, const struct numbers *s, double limit, double bar)
{
    double share = within_pct(s, limit);
    bar_add_share(b, stratum, what, (size_t)lround(share / 100 * (double)s->n), isnan(share) ? 0 : s->n, bar, true, 2);
}

static void add_found(struct bars *b, const char *name, const struct sum *s, double limit)
{
    bar_add_share(b, name, "sensitivity, %", s->hit, s->hit + s->miss, limit, true, 3);
    bar_add_share(b, name, "positive predictive value, %", s->hit, s->hit + s->extra, limit, true, 3);
}

static void add_onsets(struct bars *b, const char *name, struct sum *s)
{
    bar_add(b, name, "onset, machine, from 100 Hz, median, ms", 1000 * numbers_quantile(&s->onset_machine, 0.5), 10, false, 1);
    bar_add(b, name, "onset, machine, from 100 Hz, 95th percentile, ms", 1000 * numbers_quantile(&s->onset_machine, 0.95), 30,
        false, 1);
    if (s->onset_unassisted.n) {
        bar_add(b, name, "onset, unassisted, from 100 Hz, 95th percentile, ms",
            1000 * numbers_quantile(&s->onset_unassisted, 0.95), 60, false, 1);
    }
    if (s->onset_heart.n) {
        bar_add(b, name, "onset, unassisted with the heart, from 100 Hz, 95th percentile, ms",
            1000 * numbers_quantile(&s->onset_heart, 0.95), 100, false, 1);
    }
}

static void add_mechanics(struct bars *b, const char *name, const struct sum *s, bool clean)
{
    add_within(b, name, "passive compliance within 5 %, %", &s->c_passive, 5, clean ? 99 : 90);
    add_within(b, name, "passive inspiratory resistance within 5 %, %", &s->ri_passive, 5, clean ? 95 : 90);
    bar_add_share(b, name, "compliance given, of eligible breaths, %", s->c_given, s->eligible, clean ? 95 : 80, true, 1);
    bar_add_share(b, name, "resistance given, of eligible breaths, %", s->r_given, s->eligible, clean ? 95 : 80, true, 1);
}

static void add_agreement(struct bars *b, const char *bias, const char *limits, const struct numbers *s, double bias_max,
                          double limits_max)
{
    bar_add(b, "", bias, fabs(numbers_mean(s)), bias_max, false, 2);
    bar_add(b, "", limits, 1.96 * numbers_sd(s), limits_max, false, 2);
}

static void add_values(struct bars *b, const struct sum *s)
{
    add_agreement(b, "VTi, bias, %", "VTi, 95 % limits, +- %", &s->f[F_VTI_PCT], 1, 2);
    add_agreement(b, "VTe, bias, %", "VTe, 95 % limits, +- %", &s->f[F_VTE_PCT], 1, 3);
    add_agreement(b, "PIP, bias, cmH2O", "PIP, 95 % limits, +- cmH2O", &s->f[F_PIP], 0.3, 0.5);
    bar_add(b, "", "PEEP, bias, cmH2O", fabs(numbers_mean(&s->f[F_PEEP])), 0.3, false, 2);
    bar_add(b, "", "mean pressure, bias, cmH2O", fabs(numbers_mean(&s->f[F_PMEAN])), 0.1, false, 3);
}

static void add_words(struct bars *b, const struct sum *s)
{
    const struct numbers *w = s->w;
    bar_add_share(b, "", "kind right, %", (size_t)lround(numbers_mean(&w[W_KIND]) * (double)w[W_KIND].n), w[W_KIND].n, 93, true, 2);
    bar_add_share(b, "", "control right, %", (size_t)lround(numbers_mean(&w[W_CONTROL]) * (double)w[W_CONTROL].n),
              w[W_CONTROL].n, 99, true, 2);
}

static void add_initiation(struct bars *b, const struct sum *s)
{
    const struct numbers *w = &s->w[W_INITIATION];
    bar_add_share(b, "", "initiation right, where given, false triggers apart, %",
              (size_t)lround(numbers_mean(w) * (double)w->n), w->n, 98, true, 2);
    bar_add_share(b, "", "initiation given, %", s->initiation_given, s->initiation_of, 95, true, 2);
}

static int with(struct sum *s, const struct records *r, const struct patient *patients, struct scope scope)
{
    return sum_part(s, r, patients, in_scope, &scope);
}

static int by_strata(struct bars *b, const struct records *r, const struct patient *patients)
{
    static const double found[STRATA] = {99.9, 99.7, 98.5};
    int rc = 0;
    struct sum s;
    for (int k = 0; k < STRATA; k++) {
        const char *name = stratum_word((enum stratum_of)k);
        rc |= with(&s, r, patients, (struct scope){k, 0, 0, false, -1, true});
        add_found(b, name, &s, found[k]);
        sum_free(&s);
        rc |= with(&s, r, patients, (struct scope){k, 0, 100, false, -1, true});
        add_onsets(b, name, &s);
        sum_free(&s);
        rc |= with(&s, r, patients, (struct scope){k, -1, 50, true, -1, true});
        if (k != HEAVY) {
            add_mechanics(b, name, &s, k == CLEAN);
        }
        sum_free(&s);
    }
    rc |= with(&s, r, patients, (struct scope){-1, 1, 0, false, -1, true});
    if (s.hit + s.miss) {
        add_found(b, "two-level with breathing on top", &s, 95);
    }
    sum_free(&s);
    return rc;
}

/* Recordings with hardly a breath: none over one an hour. */
static int quiet(struct bars *b, const struct records *r, const struct patient *patients)
{
    struct sum s;
    int rc = with(&s, r, patients, (struct scope){-1, -1, 0, false, -1, false});
    if (r->quiet_seconds > 0) {
        bar_add(b, "", "extra breaths an hour in quiet recordings", (double)s.extra * 3600 / r->quiet_seconds, 1, false, 2);
    }
    sum_free(&s);
    return rc;
}

size_t bars_judge(struct bar *bars, const struct records *r, const struct patient *patients)
{
    struct bars b = {bars, 0};
    struct sum s;
    int rc = by_strata(&b, r, patients);
    /* Volumes and pressures: clean and ordinary together, as the strata with bars. */
    rc |= with(&s, r, patients, (struct scope){NOT_HEAVY, -1, 50, true, -1, true});
    add_values(&b, &s);
    sum_free(&s);
    rc |= with(&s, r, patients, (struct scope){-1, -1, 0, false, -1, true});
    add_within(&b, "", "leak, mean of five breaths, within 5 percentage points, %", &s.f[F_LEAK5], 5, 90);
    bar_add_share(&b, "", "compliances wrong by over 20 %, of all given, %", s.c_wrong, s.c_all, 1, false, 2);
    bar_add_share(&b, "", "resistances wrong by over 20 %, of all given, %", s.r_wrong, s.r_all, 3, false, 2);
    add_words(&b, &s);
    sum_free(&s);
    rc |= with(&s, r, patients, (struct scope){-1, -1, 0, false, 0, true});
    add_initiation(&b, &s);
    sum_free(&s);
    rc |= quiet(&b, r, patients);
    rc |= bars_static(&b, r, patients);
    rc |= bars_work(&b, r, patients);
    rc |= bars_patterns(&b, r, patients);
    rc |= bars_efforts(&b, r);
    rc |= bars_burden(&b, r, patients);
    return rc ? 0 : b.n;
}

int guard_judge(const struct records *r, const struct patient *patients)
{
    struct sum s;
    if (with(&s, r, patients, (struct scope){-1, -1, 0, false, -1, true})) {
        return -1;
    }
    const struct { const char *what; double share, least; } guards[] = {
        {"sensitivity, %", 100 * (double)s.hit / (double)(s.hit + s.miss), 98},
        {"positive predictive value, %", 100 * (double)s.hit / (double)(s.hit + s.extra), 98},
        {"VTi within 10 %, %", within_pct(&s.f[F_VTI_PCT], 10), 95},
        {"kind right, %", 100 * numbers_mean(&s.w[W_KIND]), 70},
    };
    int missed = s.hit < 1000; /* too few to guard anything */
    for (size_t i = 0; i < sizeof guards / sizeof *guards; i++) {
        bool held = guards[i].share >= guards[i].least;
        printf("guard: %s %.2f, at least %g: %s\n", guards[i].what, guards[i].share, guards[i].least, held ? "held" : "BROKEN");
        missed += !held;
    }
    sum_free(&s);
    return missed;
}
