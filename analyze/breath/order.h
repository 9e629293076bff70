/* Medians and the like of small arrays. They reorder the array they are given. */
#ifndef TIDEMARK_ANALYZE_ORDER_H
#define TIDEMARK_ANALYZE_ORDER_H

#include <stddef.h>

/* k-th smallest (0-based), n >= 1, 0 <= k < n. */
double order_kth(double *v, int n, int k);
/* Median: mean of the two middle ones if n is even; NAN if n is 0. */
double order_median(double *v, int n);
/* The upper median, in single precision. n >= 1. */
float order_median_f(float *v, int n);

#endif
