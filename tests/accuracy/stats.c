#include "tests/accuracy/stats.h"

#include <math.h>
#include <stdlib.h>

void wilson(size_t x, size_t n, double *low, double *high)
{
    const double z = 1.959963984540054;
    *low = *high = NAN;
    if (n == 0) {
        return;
    }
    double p = (double)x / (double)n, zz = z * z / (double)n;
    double centre = (p + zz / 2) / (1 + zz);
    double half = z / (1 + zz) * sqrt(p * (1 - p) / (double)n + zz / (4 * (double)n));
    *low = x == 0 ? 0 : fmax(0, centre - half);
    *high = x == n ? 1 : fmin(1, centre + half);
}

/* Chance of at most x where the mean is m. */
static double poisson_at_most(size_t x, double m)
{
    double term = exp(-m), sum = term;
    for (size_t k = 1; k <= x; k++) {
        term *= m / (double)k;
        sum += term;
    }
    return sum;
}

/* The mean at which at most x has this chance; it falls as the mean grows. */
static double poisson_mean_of(size_t x, double chance)
{
    double low = 0, high = (double)x + 10 * sqrt((double)x + 1) + 10;
    for (int i = 0; i < 60; i++) {
        double mid = 0.5 * (low + high);
        if (poisson_at_most(x, mid) > chance) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return 0.5 * (low + high);
}

void poisson(size_t x, double *low, double *high)
{
    *low = x ? poisson_mean_of(x - 1, 0.975) : 0;
    *high = poisson_mean_of(x, 0.025);
}

int numbers_add(struct numbers *s, double x)
{
    if (isnan(x)) {
        return 0;
    }
    if (s->n == s->cap) {
        size_t cap = s->cap ? 2 * s->cap : 256;
        double *v = realloc(s->v, cap * sizeof *v);
        if (!v) {
            return -1;
        }
        s->v = v;
        s->cap = cap;
    }
    s->v[s->n++] = x;
    return 0;
}

int numbers_join(struct numbers *s, const struct numbers *more)
{
    int rc = 0;
    for (size_t i = 0; i < more->n && rc == 0; i++) {
        rc = numbers_add(s, more->v[i]);
    }
    return rc;
}

void numbers_free(struct numbers *s)
{
    free(s->v);
    s->v = NULL;
    s->n = s->cap = 0;
}

double numbers_mean(const struct numbers *s)
{
    double sum = 0;
    for (size_t i = 0; i < s->n; i++) {
        sum += s->v[i];
    }
    return s->n ? sum / (double)s->n : NAN;
}

double numbers_sd(const struct numbers *s)
{
    double mean = numbers_mean(s), sum = 0;
    for (size_t i = 0; i < s->n; i++) {
        sum += (s->v[i] - mean) * (s->v[i] - mean);
    }
    return s->n > 1 ? sqrt(sum / (double)(s->n - 1)) : NAN;
}

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double numbers_quantile(struct numbers *s, double q)
{
    if (s->n == 0) {
        return NAN;
    }
    qsort(s->v, s->n, sizeof *s->v, rising);
    double at = q * (double)(s->n - 1);
    size_t k = (size_t)at;
    return k + 1 < s->n ? s->v[k] + (at - (double)k) * (s->v[k + 1] - s->v[k]) : s->v[s->n - 1];
}

double numbers_worst(const struct numbers *s)
{
    double worst = NAN;
    for (size_t i = 0; i < s->n; i++) {
        if (isnan(worst) || fabs(s->v[i]) > fabs(worst)) {
            worst = s->v[i];
        }
    }
    return worst;
}
