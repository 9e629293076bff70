/* Small statistics for agreement. Plain functions without state; NAN where there is nothing to say. */
#ifndef TIDEMARK_TESTS_ACCURACY_STATS_H
#define TIDEMARK_TESTS_ACCURACY_STATS_H

#include <stddef.h>

/* Wilson score interval, 95 % (z = 1.959963984540054), of x in n; clamped to 0..1; NAN, NAN where n is 0. */
void wilson(size_t x, size_t n, double *low, double *high);

/* Garwood's exact 95 % interval of a Poisson mean of which x were counted (Biometrika, 1936). */
void poisson(size_t x, double *low, double *high);

/* A growing list of numbers, owned by whoever declared it; set to {0} before use. */
struct numbers {
    double *v;
    size_t n, cap;
};
int numbers_add(struct numbers *s, double x); /* NAN is not added; -1 out of memory */
int numbers_join(struct numbers *s, const struct numbers *more);
void numbers_free(struct numbers *s);

double numbers_mean(const struct numbers *s);
double numbers_sd(const struct numbers *s); /* n - 1; NAN below 2 */
/* Quantile by linear interpolation between order statistics, q 0..1; sorts in place. */
double numbers_quantile(struct numbers *s, double q);
/* The number of which the absolute value is largest; NAN of none. */
double numbers_worst(const struct numbers *s);

#endif
