#include "tests/accuracy/score.h"

#include <math.h>
#include <string.h>

static int sum_passive(struct sum *s, const struct record *rec)
{
    s->eligible++;
    s->c_given += rec->c_given;
    s->r_given += rec->r_given;
    int rc = numbers_add(&s->c_passive, rec->f[F_C_PCT]);
    rc |= numbers_add(&s->ri_passive, rec->f[F_RI_PCT]);
    return rc | numbers_add(&s->re_passive, rec->f[F_RE_PCT]);
}

static int sum_record(struct sum *s, const struct record *rec, const struct patient *p)
{
    int rc = 0;
    s->hit += rec->outcome == HIT;
    s->miss += rec->outcome == MISS;
    s->extra += rec->outcome == EXTRA;
    struct numbers *onset = !rec->unassisted ? &s->onset_machine : p->heart ? &s->onset_heart : &s->onset_unassisted;
    rc |= numbers_add(onset, fabs(rec->f[F_ONSET_S]));
    for (int i = 0; i < F_N; i++) {
        rc |= numbers_add(&s->f[i], rec->f[i]);
    }
    for (int i = 0; i < W_N; i++) {
        rc |= numbers_add(&s->w[i], rec->w[i]);
    }
    if (rec->eligible) {
        rc |= sum_passive(s, rec);
    }
    for (size_t i = 0; i < PATTERNS_SCORED && rec->outcome == HIT; i++) {
        pattern_count_add(&s->pattern[i], rec->is[i], rec->said[i]);
    }
    s->auto_of += rec->outcome == HIT && rec->auto_known;
    s->auto_given += rec->outcome == HIT && rec->auto_known && rec->auto_given;
    s->initiation_of += rec->outcome == HIT;
    s->initiation_given += rec->initiation_given;
    const double c = rec->f[F_C_PCT], ri = rec->f[F_RI_PCT], re = rec->f[F_RE_PCT];
    s->c_all += isnan(c) ? 0u : 1u;
    s->c_wrong += fabs(c) > 20;
    s->r_all += (isnan(ri) ? 0u : 1u) + (isnan(re) ? 0u : 1u);
    s->r_wrong += (fabs(ri) > 20 ? 1u : 0u) + (fabs(re) > 20 ? 1u : 0u);
    return rc;
}

int sum_part(struct sum *s, const struct records *r, const struct patient *patients, part_fn *part, const void *argument)
{
    memset(s, 0, sizeof *s);
    int rc = 0;
    for (size_t i = 0; i < r->n && rc == 0; i++) {
        const struct record *rec = &r->v[i];
        if (part(rec, &patients[rec->patient], argument)) {
            rc = sum_record(s, rec, &patients[rec->patient]);
        }
    }
    return rc;
}

void sum_free(struct sum *s)
{
    struct numbers *more[] = {&s->onset_machine, &s->onset_unassisted, &s->onset_heart,
                              &s->c_passive,     &s->ri_passive,       &s->re_passive};
    for (size_t i = 0; i < sizeof more / sizeof *more; i++) {
        numbers_free(more[i]);
    }
    for (int i = 0; i < F_N; i++) {
        numbers_free(&s->f[i]);
    }
    for (int i = 0; i < W_N; i++) {
        numbers_free(&s->w[i]);
    }
}

double within_pct(const struct numbers *s, double limit)
{
    size_t n = 0;
    for (size_t i = 0; i < s->n; i++) {
        n += fabs(s->v[i]) <= limit;
    }
    return s->n ? 100 * (double)n / (double)s->n : (double)NAN;
}
