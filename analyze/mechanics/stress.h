/* Stress index: b of p = a t^b + c while flow is constant, t counted from the start of inspiration. Over 1 pressure bends
 * upwards (the lung stiffens as it fills), under 1 downwards (it opens). Source, from memory: Ranieri 1994, Grasso 2004.
 *
 * For each b the best a and c are a straight line in t^b, so that only b is searched: by a few steps of Gauss and
 * Newton from 1, and where they don't settle by golden section over 0.3 to 2.5. One breath's b is moved by noise (sd 0.016 at 0.1 cmH2O) and far more by the heart (0.2 at a ripple of 0.3):
 * a beat lasts about as long as the window, and bends the line as an index would. What the residuals leave says little of
 * that, since the fit swallows most of it; the scatter among alike breaths, whose beats fall elsewhere, shows it. So the
 * value said is a mean over alike breaths, with its error from their scatter (stress_among). */
#ifndef TIDEMARK_ANALYZE_STRESS_H
#define TIDEMARK_ANALYZE_STRESS_H

#include "analyze/breath/noise.h"
#include "analyze/breath/seg.h"

#define STRESS_POINTS 24
#define STRESS_AMONG  31 /* breaths at most */
#define STRESS_FEWEST 7  /* under it their scatter says nothing */

struct stress_fit {
    double index, a_cmh2o, c_cmh2o; /* a where t is 1 s */
    double rmse_cmh2o;
    double se; /* of the index, from the residuals, widened by their correlation from point to point */
    bool bound; /* the index ran to an end of the search */
};

/* n points, 5 to STRESS_POINTS, t_s > 0. */
void stress_fit(const double *t_s, const double *p_cmh2o, int n, struct stress_fit *out);

/* One breath's reading, before it is known what controlled or started it. */
struct stress {
    enum reason why; /* WHY_NONE: index and se stand */
    double index, se;
    double flow_l_s, from_s, to_s, p_from_cmh2o, p_to_cmh2o; /* the window, s from t0, and pressures at its ends */
};

/* lag_s: flow's lag behind pressure, 0 unknown. flow_scale: 1 adult. Reasons: gap, breath_short, flow_not_constant, rate_low, fit_poor,
 * not_applicable (no inflation by a machine). */
void stress_read(const struct ring *r, const struct seg_breath *b, const struct noise *z, double lag_s, double flow_scale,
                 struct stress *out);

/* Two breaths of the same lung, flow and level. */
bool stress_alike(const struct stress *a, const struct stress *b);

/* Mean of n indices (they are reordered), n >= STRESS_FEWEST, without those that lie three standard deviations off their
 * median (a cough); with its standard error: from their scatter, that of a few widened as Student's t is, and never under what
 * `own`, the error of one by its residuals, leaves of n. A mean: what a beat of any phase adds has two peaks, between
 * which a median wanders. */
double stress_among(double *index, int n, double own, double *se);

#endif
