/* Equation of motion, fitted to one breath:
 *
 *     p = Ri q+ + Re q- + K2 q|q| + E v + P0        q+ = max(q, 0), q- = min(q, 0)
 *
 * p airway pressure (cmH2O), q flow into the patient (L/s), v volume since t0 (L). Passive breaths only mean
 * anything; goodness of fit does not see effort, so a fit is given only where all checks of motion_check hold.
 * Five columns, because one resistance for both directions costs a tenth of E; K2 is dropped where it can't be
 * told (condition) or turns negative (unequal units, viscoelasticity). Fit and thresholds: common practice,
 * chosen from numerical trials; tube's K2 after Rohrer (from memory: Guttmann, Anesthesiology, 1993). */
#ifndef TIDEMARK_ANALYZE_MOTION_H
#define TIDEMARK_ANALYZE_MOTION_H

#include "analyze/breath/row.h"
#include "analyze/mechanics/lsq.h"

#define MOTION_ROWS_MAX 1024

/* Samples of one breath, owned by the caller. */
struct motion_samples {
    int n;
    double t_s[MOTION_ROWS_MAX]; /* since t0 */
    double p[MOTION_ROWS_MAX];   /* cmH2O */
    double q[MOTION_ROWS_MAX];   /* L/s */
    double v[MOTION_ROWS_MAX];   /* L, since t0, drift-corrected */
    double ti_s, ttot_s;
    double step_s;               /* between samples, about */
};

struct motion_limits {
    double e_max;         /* cmH2O/L: 200; infant 2500, a newborn test lung of 0.5 mL/cmH2O being 2000 */
    double r_max;         /* cmH2O s/L: 100, infant 400 */
    double v_range_min_l; /* 0.08, infant 0.008 */
    double pip_cmh2o, peep_cmh2o;
    double q_sd_l_s;      /* noise of flow */
    double a_heart_l_s;   /* heart's amplitude in flow */
    bool effort_seen;     /* a departure or a dip: muscles at work or not excluded */
};

struct motion_fit {
    double e_cmh2o_l, ri_cmh2o_s_l, re_cmh2o_s_l, k2, p0_cmh2o;
    double r_chord;       /* Ri + K2 x mean inspired flow */
    double re_chord;      /* Re + K2 x mean expired flow */
    double r2;
    double rmse, smooth;  /* cmH2O: root mean square; largest |residual| after a moving mean of 0.1 s */
    double condition;
    double tau_s;         /* slope of expired volume on flow, 75 to 5 % left; NAN: could not be had */
    double se_e, se_r, se_re; /* of E and the chords, relative; NAN: not known */
    double attenuation;   /* share by which flow's noise and the heart pull Ri or Re (the worse) to zero */
    double sd_v_l;        /* of what output_error left of the volume; NAN: not run */
    bool reduced;         /* K2 dropped */
    enum reason why;      /* WHY_NONE: believable */
};

/* Fits and checks. *work is scratch. out->why says why it is not believable; the numbers stand all the same
 * unless it could not be fitted at all (fit_singular, breath_short: NAN). */
void motion_fit(const struct motion_samples *s, const struct motion_limits *lim, double *work,
                struct motion_fit *out);

#define MOTION_WORK (MOTION_ROWS_MAX * 6)

#endif
