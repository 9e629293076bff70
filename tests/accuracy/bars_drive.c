/* Trigger delay: printed beside the bars. */
#include <math.h>
#include <stdio.h>

#include "tests/accuracy/bars.h"

#define RATE_HZ 50 /* slower: no delay is given */

static int stratum(const struct records *r, const struct patient *patients, enum stratum_of k)
{
    struct numbers off = {0};
    size_t of = 0;
    int rc = 0;
    for (size_t i = 0; i < r->n && rc == 0; i++) {
        const struct record *rec = &r->v[i];
        const struct patient *p = &patients[rec->patient];
        if (p->stratum != k || p->rate_hz < RATE_HZ || isnan(rec->delay_true_s)) {
            continue;
        }
        of++;
        rc = numbers_add(&off, rec->delay_s - rec->delay_true_s);
    }
    if (of && rc == 0) {
        const double share = 100 * (double)off.n / (double)of, limits = 1.96 * numbers_sd(&off), bias = numbers_mean(&off);
        printf("%-10s trigger delay, error: median %+.3f s, mean %+.3f, 95 %% limits +- %.3f, 5th and 95th percentile %+.3f %+.3f; "
               "given in %.1f %% of %zu\n",
               stratum_word(k), numbers_quantile(&off, 0.5), bias, limits, numbers_quantile(&off, 0.05), numbers_quantile(&off, 0.95),
               share, of);
    }
    numbers_free(&off);
    return rc;
}

int drive_print(const struct records *r, const struct patient *patients)
{
    int rc = 0;
    for (int k = 0; k < STRATA; k++) {
        rc |= stratum(r, patients, (enum stratum_of)k);
    }
    return rc;
}
