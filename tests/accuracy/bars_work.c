/* Work and power of the machine, and the stress index. */
#include <math.h>

#include "tests/accuracy/bars_internal.h"

/* An index this near to 1 has no side that matters: not scored. */
#define BETWEEN 0.05

/* Exact sensor from 50 Hz, clean and ordinary: a gain that is off is in the work as in the volume. */
static bool measured(const struct record *rec, const struct patient *p, const void *unused)
{
    (void)rec;
    (void)unused;
    return p->rate_hz >= 50 && p->exact_sensor && p->stratum != HEAVY && p->series != SERIES_QUIET;
}

/* Where nobody else starts or ends a breath: what the integral itself is worth. */
static bool measured_passive(const struct record *rec, const struct patient *p, const void *unused)
{
    return rec->passive && measured(rec, p, unused);
}

static void near_truth(struct bars *b, const char *what, const struct numbers *s, double limit, double bar)
{
    double share = within_pct(s, limit);
    bar_add_share(b, "", what, (size_t)lround(share / 100 * (double)s->n), isnan(share) ? 0 : s->n, bar, true, 1);
}

/* Of passive breaths in volume control whose true index is defined. */
static void stress_bars(struct bars *b, const struct records *r, const struct patient *patients)
{
    size_t of = 0, given = 0, sided = 0, right = 0;
    for (size_t i = 0; i < r->n; i++) {
        const struct record *rec = &r->v[i];
        if (!measured(rec, &patients[rec->patient], NULL) || isnan(rec->stress_true)) {
            continue;
        }
        bool said = rec->outcome == HIT && !isnan(rec->stress);
        of += rec->eligible;
        given += rec->eligible && said;
        if (said && fabs(rec->stress_true - 1) > BETWEEN) { /* whoever gets one, eligible or not */
            sided++;
            right += (rec->stress > 1) == (rec->stress_true > 1);
        }
    }
    bar_add_share(b, "", "stress index on the right side of 1, of those given, %", right, sided, 95, true, 1);
    bar_add_share(b, "", "stress index given, of eligible breaths that have one, %", given, of, 50, true, 1);
}

int bars_work(struct bars *b, const struct records *r, const struct patient *patients)
{
    struct sum s;
    int rc = sum_part(&s, r, patients, measured, NULL);
    near_truth(b, "power of the machine within 5 %, %", &s.f[F_POWER_PCT], 5, 95);
    sum_free(&s);
    rc |= sum_part(&s, r, patients, measured_passive, NULL);
    near_truth(b, "power of the machine within 5 %, passive breaths, %", &s.f[F_POWER_PCT], 5, 95);
    near_truth(b, "work of the machine per litre within 0.05 J/L, passive breaths, %", &s.f[F_WOB], 0.05, 95);
    sum_free(&s);
    stress_bars(b, r, patients);
    return rc;
}
