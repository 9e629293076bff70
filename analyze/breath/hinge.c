#include "analyze/breath/hinge.h"

#include <math.h>

/* y = a + b x + c max(x - x_j, 0): for each joint, the column of c made orthogonal to
 * the constant and to the centred x, so that each coefficient stands alone. */
bool hinge_fit(const double *y, int n, double dx, struct hinge *out)
{
    if (n < 8)
        return false;
    double mid = 0.5 * (n - 1) * dx, sy = 0, sxy = 0, sxx = 0, syy = 0;
    for (int i = 0; i < n; i++) {
        double x = i * dx - mid;
        sy += y[i];
        sxy += x * y[i];
        sxx += x * x;
        syy += y[i] * y[i];
    }
    double mean = sy / n, slope = sxy / sxx;
    out->rss_line = fmax(0, syy - n * mean * mean - slope * sxy);
    out->rss = INFINITY;
    /* After taking out constant and slope, the hinge column h is what is left of it; c = (h.y) / (h.h). */
    /* Sums over the points after the joint, carried as it moves one point earlier at a time: with h = x - x_j,
     * every h there grows by dx, and the point that was the joint joins with h = dx. */
    double h0 = 0, hx = 0, hh = 0, hy = 0, x_after = 0, y_after = 0, n_after = 0;
    for (int j = n - 2; j >= 3; j--) {
        double x = (j + 1) * dx - mid;
        n_after++;
        x_after += x;
        y_after += y[j + 1];
        hh += 2 * dx * h0 + dx * dx * n_after;
        h0 += dx * n_after;
        hx += dx * x_after;
        hy += dx * y_after;
        if (j > n - 4)
            continue;
        double rest = hh - h0 * h0 / n - hx * hx / sxx;
        double part = hy - h0 * mean - hx * slope;
        if (rest <= 0)
            continue;
        double c = part / rest, rss = fmax(0, out->rss_line - part * c);
        if (rss < out->rss) {
            out->rss = rss;
            out->at = j;
            out->before = slope - c * hx / sxx;
            out->after = out->before + c;
            out->rise = c * (n - 1 - j) * dx;
        }
    }
    return isfinite(out->rss);
}
