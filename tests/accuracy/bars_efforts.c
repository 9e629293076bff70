/* Efforts: what all asynchrony is told from. */
#include <math.h>

#include "tests/accuracy/bars_internal.h"

int bars_efforts(struct bars *b, const struct records *r)
{
    const struct efforts_scored *s = &r->efforts;
    struct numbers start = {0}, end = {0};
    size_t hit = 0, covered = 0;
    int rc = 0;
    for (size_t i = 0; i < s->n && rc == 0; i++) {
        hit += s->v[i].hit;
        covered += s->v[i].covered;
        rc = numbers_add(&start, fabs(s->v[i].start_off_s)) | numbers_add(&end, fabs(s->v[i].end_off_s));
    }
    bar_add_share(b, "efforts", "found, of those of 3 cmH2O and 2 bumps of the heart, %", hit, s->n, 95, true, 1);
    bar_add(b, "efforts", "start, median, ms", 1000 * numbers_quantile(&start, 0.5), 80, false, 0);
    bar_add(b, "efforts", "neural end, median, ms", 1000 * numbers_quantile(&end, 0.5), 120, false, 0);
    bar_add_share(b, "efforts", "true size within 2 standard deviations, %", covered, hit, 90, true, 1);
    size_t false_ones = s->passive[ORDINARY].possible + s->passive[ORDINARY].definite;
    double hours = s->passive[ORDINARY].hours;
    struct bar *bar = bar_add(b, "efforts", "false ones an hour in passive ordinary patients", hours > 0 ? (double)false_ones / hours : (double)NAN,
                              2, false, 1);
    poisson(false_ones, &bar->low, &bar->high);
    bar->low /= hours;
    bar->high /= hours;
    numbers_free(&start);
    numbers_free(&end);
    return rc;
}
