/* Linear least squares by Householder QR on columns scaled to unit norm. No normal equations: on badly
 * conditioned data they lose half of the digits (Golub and Van Loan, Matrix Computations, chapter 5). */
#ifndef TIDEMARK_ANALYZE_LSQ_H
#define TIDEMARK_ANALYZE_LSQ_H

#include "ingest/sample.h"

#define LSQ_COLS_MAX   8
#define LSQ_EXACT_FROM 1000.0

struct lsq_fit {
    int cols;
    double x[LSQ_COLS_MAX];  /* coefficients */
    double se[LSQ_COLS_MAX]; /* standard errors, NAN without a degree of freedom; textbook: white residuals */
    double rss;              /* residual sum of squares */
    double sd;               /* sqrt(rss / (rows - cols)), NAN without a degree of freedom */
    double condition;        /* of the scaled columns: ratio of singular values; where condition_max is under
                                LSQ_EXACT_FROM and a bound (Frobenius norms) holds already, that bound */
};

/* Minimises |A x - y|. a is rows x (cols + 1), row-major, the last column y; it is overwritten. rows >= cols,
 * 1 <= cols <= LSQ_COLS_MAX. TM_ERR_INPUT if a column is zero or the condition exceeds condition_max: then
 * only fit->condition is set (INFINITY for a zero column). */
int lsq_solve(double *a, int rows, int cols, double condition_max, struct lsq_fit *fit) MUST_USE;

#endif
