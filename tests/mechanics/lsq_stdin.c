/* Solves the system that standard input gives: `rows cols`, then each row with y last. Prints the coefficients,
 * their errors, rss and condition: the seam for another library's second opinion. */
#include <stdio.h>
#include <stdlib.h>

#include "analyze/mechanics/lsq.h"

int main(void)
{
    int rows, cols;
    if (scanf("%d %d", &rows, &cols) != 2 || rows < 1 || rows > 100000 || cols < 1 || cols > LSQ_COLS_MAX) {
        return 2;
    }
    size_t n = (size_t)rows * (size_t)(cols + 1);
    double *a = malloc(n * sizeof *a);
    for (size_t i = 0; a && i < n; i++) {
        if (scanf("%lf", &a[i]) != 1) {
            free(a);
            return 2;
        }
    }
    struct lsq_fit fit;
    int rc = a ? lsq_solve(a, rows, cols, 1e8, &fit) : TM_ERR_MEMORY;
    free(a);
    if (rc != TM_OK) {
        return 1;
    }
    for (int j = 0; j < cols; j++) {
        printf("%.17g %.17g\n", fit.x[j], fit.se[j]);
    }
    printf("%.17g %.17g\n", fit.rss, fit.condition);
    return 0;
}
