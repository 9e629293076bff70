/* Fits the power law to what standard input gives: n, then n pairs of time and pressure. Prints index, a, c, rmse and the
 * index's standard error: the seam for another library's second opinion. */
#include <stdio.h>

#include "analyze/mechanics/stress.h"

int main(void)
{
    double t[STRESS_POINTS], p[STRESS_POINTS];
    int n;
    if (scanf("%d", &n) != 1 || n < 5 || n > STRESS_POINTS) {
        return 2;
    }
    for (int i = 0; i < n; i++) {
        if (scanf("%lf %lf", &t[i], &p[i]) != 2) {
            return 2;
        }
    }
    struct stress_fit f;
    stress_fit(t, p, n, &f);
    printf("%.17g %.17g %.17g %.17g %.17g %d\n", f.index, f.a_cmh2o, f.c_cmh2o, f.rmse_cmh2o, f.se, f.bound);
    return 0;
}
