#include "analyze/mechanics/lsq.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

/* Reflects column k (rows k..) onto the diagonal and applies the reflection to the columns after it. norm2 is the sum of
 * the squares of that column from row k on; returns that of column k + 1 from row k + 1 on, added up on the way. */
static inline double reflect(double *a, int rows, const int width, const int k, double norm2)
{
    double norm = sqrt(norm2), head = a[k * width + k], next2 = 0;
    if (norm <= 0) {
        for (int i = k + 1; i < rows; i++)
            next2 += a[i * width + k + 1] * a[i * width + k + 1];
        return next2;
    }
    double alpha = head > 0 ? -norm : norm;
    double v0 = head - alpha, beta = 1 / (norm2 - head * alpha); /* 2 / v.v */
    double dot[LSQ_COLS_MAX + 1] = {0};
    for (int j = k + 1; j < width; j++)
        dot[j] = v0 * a[k * width + j];
    for (int i = k + 1; i < rows; i++) {
        const double *row = a + i * width;
        for (int j = k + 1; j < width; j++)
            dot[j] += row[k] * row[j];
    }
    for (int j = k + 1; j < width; j++) {
        dot[j] *= beta;
        a[k * width + j] -= dot[j] * v0;
    }
    for (int i = k + 1; i < rows; i++) {
        double *row = a + i * width;
        for (int j = k + 1; j < width; j++)
            row[j] -= dot[j] * row[k];
        next2 += row[k + 1] * row[k + 1];
    }
    a[k * width + k] = alpha;
    return next2;
}

/* The widths that every breath needs are spelt out, so that the compiler can unroll them. */
static void triangulate(double *a, int rows, int cols, double norm2)
{
    int last = cols < rows - 1 ? cols : rows - 1;
    if (cols == 5 && last == 5) {
        norm2 = reflect(a, rows, 6, 0, norm2);
        norm2 = reflect(a, rows, 6, 1, norm2);
        norm2 = reflect(a, rows, 6, 2, norm2);
        norm2 = reflect(a, rows, 6, 3, norm2);
        (void)reflect(a, rows, 6, 4, norm2);
    } else if (cols == 4 && last == 4) {
        norm2 = reflect(a, rows, 5, 0, norm2);
        norm2 = reflect(a, rows, 5, 1, norm2);
        norm2 = reflect(a, rows, 5, 2, norm2);
        (void)reflect(a, rows, 5, 3, norm2);
    } else {
        for (int k = 0; k < last; k++)
            norm2 = reflect(a, rows, cols + 1, k, norm2);
    }
}

/* Columns to unit norm; false: one is zero or not finite. *norm2 is what is left of the first's square sum. */
static inline bool scale_columns(double *a, int rows, const int cols, double *scale, double *norm2)
{
    const int width = cols + 1;
    for (int i = 0; i < rows; i++)
        for (int j = 0; j < cols; j++)
            scale[j] += a[i * width + j] * a[i * width + j];
    for (int j = 0; j < cols; j++) {
        scale[j] = sqrt(scale[j]);
        if (!(scale[j] > 0) || !isfinite(scale[j]))
            return false;
    }
    double first2 = 0;
    for (int i = 0; i < rows; i++) {
        for (int j = 0; j < cols; j++)
            a[i * width + j] /= scale[j];
        first2 += a[i * width] * a[i * width];
    }
    *norm2 = first2;
    return true;
}

/* Ratio of the singular values of the upper triangle r (n x n), by one-sided Jacobi rotations. */
static double triangle_condition(const double *a, int width, int n)
{
    double m[LSQ_COLS_MAX][LSQ_COLS_MAX]; /* m[j] is column j */
    for (int j = 0; j < n; j++)
        for (int i = 0; i < n; i++)
            m[j][i] = i <= j ? a[i * width + j] : 0;
    for (int sweep = 0; sweep < 30; sweep++) {
        double off = 0;
        for (int p = 0; p < n - 1; p++) {
            for (int q = p + 1; q < n; q++) {
                double pp = 0, qq = 0, pq = 0;
                for (int i = 0; i < n; i++) {
                    pp += m[p][i] * m[p][i];
                    qq += m[q][i] * m[q][i];
                    pq += m[p][i] * m[q][i];
                }
                if (fabs(pq) <= 1e-15 * sqrt(pp * qq))
                    continue;
                off = fmax(off, fabs(pq) / sqrt(pp * qq));
                double zeta = (qq - pp) / (2 * pq);
                double t = (zeta >= 0 ? 1 : -1) / (fabs(zeta) + sqrt(1 + zeta * zeta));
                double c = 1 / sqrt(1 + t * t), s = c * t;
                for (int i = 0; i < n; i++) {
                    double x = m[p][i], y = m[q][i];
                    m[p][i] = c * x - s * y;
                    m[q][i] = s * x + c * y;
                }
            }
        }
        if (off < 1e-3) /* what is left changes the ratio by its square: a condition number needs no more */
            break;
    }
    double lo = INFINITY, hi = 0;
    for (int j = 0; j < n; j++) {
        double s2 = 0;
        for (int i = 0; i < n; i++)
            s2 += m[j][i] * m[j][i];
        lo = fmin(lo, s2);
        hi = fmax(hi, s2);
    }
    return lo > 0 ? sqrt(hi / lo) : INFINITY;
}

/* The inverse of the triangle, column by column; returns a bound of the condition number: the product of both
 * Frobenius norms. A zero on the diagonal gives INFINITY. */
static double invert(const double *a, int width, int n, double inv[LSQ_COLS_MAX][LSQ_COLS_MAX])
{
    double r2 = 0, inv2 = 0;
    for (int j = 0; j < n; j++) {
        if (!(fabs(a[j * width + j]) > 0))
            return INFINITY;
        for (int i = j; i >= 0; i--) {
            double sum = i == j ? 1 : 0;
            for (int k = i + 1; k <= j; k++)
                sum -= a[i * width + k] * inv[k][j];
            inv[i][j] = sum / a[i * width + i];
            inv2 += inv[i][j] * inv[i][j];
            r2 += a[i * width + j] * a[i * width + j];
        }
    }
    return sqrt(r2 * inv2);
}

static void errors(double inv[LSQ_COLS_MAX][LSQ_COLS_MAX], int rows, int cols, const double *scale,
                   struct lsq_fit *fit)
{
    fit->sd = rows > cols ? sqrt(fit->rss / (rows - cols)) : (double)NAN;
    for (int i = 0; i < cols; i++) {
        double s2 = 0;
        for (int j = i; j < cols; j++)
            s2 += inv[i][j] * inv[i][j];
        fit->se[i] = fit->sd * sqrt(s2) / scale[i];
    }
}

int lsq_solve(double *a, int rows, int cols, double condition_max, struct lsq_fit *fit)
{
    int width = cols + 1;
    double scale[LSQ_COLS_MAX] = {0};
    memset(fit, 0, sizeof *fit);
    fit->cols = cols;
    fit->condition = INFINITY;
    if (rows < cols)
        return TM_ERR_INPUT;
    double norm2;
    bool scaled = cols == 5   ? scale_columns(a, rows, 5, scale, &norm2)
                  : cols == 4 ? scale_columns(a, rows, 4, scale, &norm2)
                              : scale_columns(a, rows, cols, scale, &norm2);
    if (!scaled)
        return TM_ERR_INPUT;
    triangulate(a, rows, cols, norm2);
    double inv[LSQ_COLS_MAX][LSQ_COLS_MAX] = {{0}}, bound = invert(a, width, cols, inv);
    bool enough = condition_max < LSQ_EXACT_FROM && bound <= condition_max;
    fit->condition = enough ? bound : triangle_condition(a, width, cols);
    if (!(fit->condition <= condition_max))
        return TM_ERR_INPUT;
    for (int i = cols - 1; i >= 0; i--) {
        double sum = a[i * width + cols];
        for (int k = i + 1; k < cols; k++)
            sum -= a[i * width + k] * fit->x[k];
        fit->x[i] = sum / a[i * width + i];
    }
    for (int i = cols; i < rows; i++)
        fit->rss += a[i * width + cols] * a[i * width + cols];
    errors(inv, rows, cols, scale, fit);
    for (int j = 0; j < cols; j++)
        fit->x[j] /= scale[j];
    return TM_OK;
}
