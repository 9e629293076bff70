/* The asynchrony index of a recording, found against true: what a reader of a night takes away.
 *
 * Both by the definition, breath by breath: 100 * flagged breaths / (machine breaths + breaths with an ineffective effort). True: over all true
 * machine breaths that are scored. Found: over the found ones in which all names could be judged, where these are half of them at least, as
 * the program gives it; extra breaths count, and so do their flags. Breaths in truth's band are out of both. Names are taken as they
 * are printed: no leniency between ineffective and reverse-triggered, as in the bars of the patterns. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "tests/accuracy/bars_internal.h"

#define LEAST 30 /* true machine breaths in a recording: an index of fewer says nothing */

struct side {
    size_t breaths, events, ineffective;
};
struct indices {
    double truth, found[2]; /* with possible flags, definite alone; NAN: under half judged */
    size_t n;               /* true machine breaths */
};

static double pct(const struct side *s)
{
    return s->breaths ? 100 * (double)s->events / (double)(s->breaths + s->ineffective) : (double)NAN;
}

static void add_true(struct side *s, const struct record *rec, const enum scored *names, size_t n)
{
    s->breaths++;
    for (size_t i = 0; i < n; i++) {
        s->events += rec->is_raw[names[i]] == 1;
    }
    s->ineffective += rec->is_raw[SCORED_ineffective_effort] == 1;
}

static void add_found(struct side *s, const struct record *rec, const enum scored *names, size_t n, enum pattern_said least)
{
    s->breaths++;
    for (size_t i = 0; i < n; i++) {
        s->events += rec->is_raw[names[i]] >= 0 && rec->said_raw[names[i]] >= least;
    }
    s->ineffective += rec->is_raw[SCORED_ineffective_effort] >= 0 && rec->said_raw[SCORED_ineffective_effort] >= least;
}

static bool judged(const struct record *rec, const enum scored *names, size_t n)
{
    bool all = true;
    for (size_t i = 0; i < n; i++) {
        all = all && rec->said_raw[names[i]] != SAID_UNJUDGED;
    }
    return all;
}

/* Of one patient, whose records begin at *at and go on to where it is left. */
static struct indices of_patient(const struct records *r, size_t *at, const enum scored *names, size_t n)
{
    struct side t = {0}, f[2] = {{0}, {0}};
    size_t machine = 0;
    const size_t patient = r->v[*at].patient;
    for (; *at < r->n && r->v[*at].patient == patient; ++*at) {
        const struct record *rec = &r->v[*at];
        if (rec->outcome != EXTRA && !rec->unassisted) {
            add_true(&t, rec, names, n);
        }
        if (rec->outcome == MISS || strcmp(rec->found_kind, "unassisted") == 0) {
            continue;
        }
        machine++;
        if (judged(rec, names, n)) {
            add_found(&f[0], rec, names, n, SAID_POSSIBLE);
            add_found(&f[1], rec, names, n, SAID_DEFINITE);
        }
    }
    const bool given = machine > 0 && 2 * f[0].breaths >= machine;
    return (struct indices){pct(&t), {given ? pct(&f[0]) : (double)NAN, given ? pct(&f[1]) : (double)NAN}, t.breaths};
}

static bool right(const struct indices *x, int which)
{
    return fabs(x->found[which] - x->truth) <= fmax(1, 0.1 * x->truth);
}

struct result {
    size_t of, given, right[2];
    struct numbers off;
};

/* stratum: STRATA for all of them. */
static int over(struct result *s, const struct records *r, const struct patient *patients, const enum scored *names, size_t n, int stratum)
{
    int rc = 0;
    memset(s, 0, sizeof *s);
    for (size_t at = 0; at < r->n && rc == 0;) {
        const struct patient *p = &patients[r->v[at].patient];
        const struct indices x = of_patient(r, &at, names, n);
        if (p->series == SERIES_QUIET || x.n < LEAST || (stratum != STRATA && (int)p->stratum != stratum)) {
            continue;
        }
        s->of++;
        if (isnan(x.found[0])) {
            continue;
        }
        s->given++;
        s->right[0] += right(&x, 0);
        s->right[1] += right(&x, 1);
        rc = numbers_add(&s->off, x.found[0] - x.truth);
    }
    return rc;
}

static const struct {
    const char *name;
    enum scored names[3];
    size_t n;
} sets[] = {{"ai_core", {SCORED_ineffective_effort, SCORED_double_trigger, SCORED_auto_trigger}, 3},
            {"ai_patient", {SCORED_ineffective_effort, SCORED_double_trigger}, 2}};

int bars_burden(struct bars *b, const struct records *r, const struct patient *patients)
{
    int rc = 0;
    for (size_t i = 0; i < sizeof sets / sizeof *sets; i++) {
        struct result s;
        rc |= over(&s, r, patients, sets[i].names, sets[i].n, STRATA);
        bar_add_share(b, sets[i].name, "within max(1 point, 10 %) of true, where given, % of recordings", s.right[0], s.given, 95, true, 1);
        numbers_free(&s.off);
    }
    return rc;
}

int burden_print(const struct records *r, const struct patient *patients)
{
    int rc = 0;
    for (size_t i = 0; i < sizeof sets / sizeof *sets; i++) {
        for (int k = 0; k < STRATA; k++) {
            struct result s;
            rc |= over(&s, r, patients, sets[i].names, sets[i].n, k);
            if (s.given) {
                printf("%-10s %s: given in %zu of %zu recordings; right in %zu, by definite flags alone in %zu; found less true, points: median %+.2f, "
                       "mean %+.2f, 95 %% limits +- %.1f\n",
                       stratum_word((enum stratum_of)k), sets[i].name, s.given, s.of, s.right[0], s.right[1], numbers_quantile(&s.off, 0.5),
                       numbers_mean(&s.off), 1.96 * numbers_sd(&s.off));
            }
            numbers_free(&s.off);
        }
    }
    return rc;
}
