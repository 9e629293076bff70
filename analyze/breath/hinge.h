/* The start of an effort before the machine answers: two joined straight lines (a hinge) against one. */
#ifndef TIDEMARK_ANALYZE_HINGE_H
#define TIDEMARK_ANALYZE_HINGE_H

#include <stdbool.h>

struct hinge {
    int at;               /* index of the joint */
    double before, after; /* slopes per unit of x */
    double rise;          /* departure from the first line at the end */
    double rss, rss_line; /* residuals of the hinge and of one line */
};

/* y at x = 0, dx, 2 dx, ... (n >= 8). Least squares over all joints that leave 3 points on each side. */
bool hinge_fit(const double *y, int n, double dx, struct hinge *out);

#endif
