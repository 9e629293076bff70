/* Curves of muscle pressure drawn by hand, for the tests of what is read of them. */
#ifndef TIDEMARK_TESTS_MECHANICS_CURVE_DRAWN_H
#define TIDEMARK_TESTS_MECHANICS_CURVE_DRAWN_H

#include "analyze/mechanics/effort.h"

#define CURVE_STEP_S 0.02
#define CURVE_FROM_S 10.0 /* recording time of its first point; times below count from there */
#define CURVE_N      500

static inline int64_t curve_ns(double t_s) {
    return (int64_t)((CURVE_FROM_S + t_s) * 1e9 + 0.5);
}

static inline double curve_s(int64_t t_ns) {
    return (double)t_ns * 1e-9 - CURVE_FROM_S;
}

static inline void curve_flat(struct effort_curve *c) {
    *c = (struct effort_curve){.n = CURVE_N, .from_ns = curve_ns(0), .step_s = CURVE_STEP_S, .pace = 1};
}

/* Straight lines between knots; before the first and after the last as there. Added to what is drawn already. */
struct knot {
    double t_s, p;
};

static inline void curve_add(struct effort_curve *c, const struct knot *k, int n) {
    for (int i = 0; i < c->n; i++) {
        double t = i * c->step_s;
        int j = 0;
        while (j < n && k[j].t_s <= t)
            j++;
        c->p[i] += j == 0 ? k[0].p : j == n ? k[n - 1].p : k[j - 1].p + (k[j].p - k[j - 1].p) * (t - k[j - 1].t_s) / (k[j].t_s - k[j - 1].t_s);
    }
}

#define CURVE_ADD(c, ...)                                                                  \
    curve_add(c, (const struct knot[]){__VA_ARGS__}, (int)(sizeof((const struct knot[]){__VA_ARGS__}) / sizeof(struct knot)))

#endif
