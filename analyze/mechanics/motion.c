#include "analyze/mechanics/motion.h"

#include "analyze/breath/extreme.h"
#include <math.h>
#include <stddef.h>

/* Left out of every fit: the valves' transitions. */
#define AFTER_ONSET_S  0.040
#define BEFORE_TURN_S  0.020
#define AFTER_TURN_S   0.060
#define ROWS_MIN       20
#define CONDITION_5    30.0
#define CONDITION_4    40.0
#define K2_FLOOR       (-1.0)
#define K2_PART_MAX    12.0 /* cmH2O/(L/s): K2 x peak flow above it is an effort, not a tube */

/* The samples that a fit uses, asked for once. */
struct used {
    int n;
    int at[MOTION_ROWS_MAX];
};

static void find_used(const struct motion_samples *s, struct used *u)
{
    double turn_from = s->ti_s - BEFORE_TURN_S, turn_to = s->ti_s + AFTER_TURN_S;
    u->n = 0;
    for (int i = 0; i < s->n; i++) {
        double t = s->t_s[i];
        u->at[u->n] = i;
        u->n += (t >= AFTER_ONSET_S) & ((t < turn_from) | (t > turn_to)) & (t < s->ttot_s);
    }
}

static int fill(const struct motion_samples *s, const struct used *u, int cols, double *a)
{
    for (int k = 0; k < u->n; k++) {
        int i = u->at[k];
        double q = s->q[i];
        double *row = a + (ptrdiff_t)k * (cols + 1);
        row[0] = q > 0 ? q : 0;
        row[1] = q < 0 ? q : 0;
        row[2] = s->v[i];
        row[3] = 1;
        if (cols == 5)
            row[4] = q * fabs(q);
        row[cols] = s->p[i];
    }
    return u->n;
}

static bool enough(const struct motion_samples *s, const struct used *u, const struct motion_limits *lim)
{
    int in = 0, out = 0;
    double lo = INFINITY, hi = -INFINITY;
    for (int k = 0; k < u->n; k++) {
        int i = u->at[k];
        if (s->t_s[i] < s->ti_s)
            in++;
        else
            out++;
        lo = smaller(lo, s->v[i]);
        hi = larger(hi, s->v[i]);
    }
    return in >= ROWS_MIN / 2 && out >= ROWS_MIN / 2 && in + out >= ROWS_MIN &&
           (!lim || hi - lo >= lim->v_range_min_l);
}

static double predict(const struct motion_fit *f, double q, double v)
{
    return (q > 0 ? f->ri_cmh2o_s_l : f->re_cmh2o_s_l) * q + f->k2 * q * fabs(q) + f->e_cmh2o_l * v + f->p0_cmh2o;
}

/* The largest |moving mean| of the residuals within each stretch of used samples. */
static double smoothed(const struct motion_samples *s, const struct used *u, const double *residual)
{
    int width = (int)(0.1 / s->step_s + 0.5), have = 0;
    width = width < 1 ? 1 : width;
    double sum = 0, most = 0;
    for (int k = 0; k < u->n; k++) {
        if (k > 0 && u->at[k] != u->at[k - 1] + 1) {
            have = 0;
            sum = 0;
        }
        sum += residual[k];
        if (++have > width) {
            sum -= residual[k - width];
            have = width;
        }
        if (have == width)
            most = larger(most, fabs(sum / width));
    }
    return most;
}

/* Sizes of the residuals, and the chords of the resistances. */
static void judge_residuals(const struct motion_samples *s, const struct used *u, double *residual, struct motion_fit *f)
{
    double rss = 0, mean = 0, tss = 0, q_in = 0, q_out = 0;
    int n = u->n, n_in = 0, n_out = 0;
    for (int k = 0; k < n; k++) {
        int i = u->at[k];
        double r = s->p[i] - predict(f, s->q[i], s->v[i]);
        residual[k] = r;
        rss += r * r;
        mean += s->p[i];
        if (s->q[i] > 0 && s->t_s[i] < s->ti_s) {
            q_in += s->q[i];
            n_in++;
        } else if (s->q[i] < 0 && s->t_s[i] > s->ti_s) {
            q_out -= s->q[i];
            n_out++;
        }
    }
    mean /= n;
    for (int k = 0; k < n; k++) {
        double d = s->p[u->at[k]] - mean;
        tss += d * d;
    }
    f->smooth = smoothed(s, u, residual);
    f->rmse = sqrt(rss / n);
    f->r2 = tss > 0 ? 1 - rss / tss : (double)NAN;
    f->r_chord = f->ri_cmh2o_s_l + (n_in ? f->k2 * q_in / n_in : 0);
    f->re_chord = f->re_cmh2o_s_l + (n_out ? f->k2 * q_out / n_out : 0);
}

/* Expiration as a line of volume on flow, 75 to 5 % of the expired volume left: slope = (Re + Rv) / E, with Rv
 * the slope of pressure on flow there (the expiratory valve and limb). */
static bool tau_holds(const struct motion_samples *s, const struct motion_limits *lim, struct motion_fit *f)
{
    double v_top = -INFINITY, v_end = 0;
    for (int i = 0; i < s->n; i++) {
        if (s->t_s[i] <= s->ti_s)
            v_top = larger(v_top, s->v[i]);
        v_end = s->v[i];
    }
    double span = v_top - v_end, n = 0, sx = 0, sy = 0, sp = 0, sxx = 0, sxy = 0, syy = 0, sxp = 0;
    double x_min = larger(0.03, 3 * lim->q_sd_l_s);
    if (lim->v_range_min_l < 0.02)
        x_min = larger(0.0045, 3 * lim->q_sd_l_s);
    for (int i = 0; i < s->n; i++) {
        double x = s->v[i], y = -s->q[i];
        if (s->t_s[i] < s->ti_s + 0.1 || y <= x_min)
            continue;
        double left = (x - v_end) / span;
        if (left > 0.75 || left < 0.05)
            continue;
        n++, sx += x, sy += y, sxx += x * x, sxy += x * y, syy += y * y, sp += s->p[i], sxp += y * s->p[i];
    }
    f->tau_s = (double)NAN;
    if (n < 8 || n * s->step_s < 0.2)
        return true; /* too fast an expiration to be checked: the other gates decide */
    double vxx = sxx - sx * sx / n, vxy = sxy - sx * sy / n, vyy = syy - sy * sy / n, vpy = sxp - sp * sy / n;
    double slope = vxy / vxx, rest = larger(0, vyy - vxy * vxy / vxx) / n;
    if (!(slope > 0) || !(vyy > 0))
        return false;
    f->tau_s = 1 / slope;
    double q_mean = sy / n, re = f->re_cmh2o_s_l + f->k2 * q_mean, rv = vpy / vyy;
    double expected = (re + rv) / f->e_cmh2o_l;
    double allowed = 0.02 * vyy / n + 1.44 * (lim->a_heart_l_s * lim->a_heart_l_s + lim->q_sd_l_s * lim->q_sd_l_s);
    return fabs(f->tau_s - expected) <= 0.25 * expected && rest <= allowed;
}

static enum reason judge(const struct motion_samples *s, const struct motion_limits *lim, struct motion_fit *f)
{
    double span = lim->pip_cmh2o - lim->peep_cmh2o, q_peak = 0;
    for (int i = 0; i < s->n; i++)
        q_peak = larger(q_peak, fabs(s->q[i]));
    bool tau = tau_holds(s, lim, f);
    bool small = f->rmse <= larger(0.4, 0.03 * span) && f->smooth <= larger(0.6, 0.04 * span);
    bool ranges = f->e_cmh2o_l >= 4 && f->e_cmh2o_l <= lim->e_max && f->r_chord >= 0.5 &&
                  f->r_chord <= lim->r_max && f->re_chord >= 0.5 && f->re_chord <= lim->r_max;
    double ratio = f->r_chord / f->re_chord, above = f->p0_cmh2o - lim->peep_cmh2o;
    bool signs = ratio >= 0.4 && ratio <= 3;
    if (lim->effort_seen || f->k2 * q_peak > K2_PART_MAX || (!small && !signs))
        return WHY_effort_suspected;
    if (!small || !ranges || !signs || !(above >= -1 && above <= 20) || !tau)
        return WHY_fit_poor;
    return WHY_NONE;
}

static void take(const struct lsq_fit *q, struct motion_fit *f)
{
    f->ri_cmh2o_s_l = q->x[0];
    f->re_cmh2o_s_l = q->x[1];
    f->e_cmh2o_l = q->x[2];
    f->p0_cmh2o = q->x[3];
    f->k2 = q->cols == 5 ? q->x[4] : 0;
    f->reduced = q->cols != 5;
    f->condition = q->condition;
}

/* Errors in a regressor: their square sum over what of its square sum the other regressors leave (from its standard error). */
static double attenuation(const struct motion_samples *s, const struct used *u, const struct motion_limits *lim,
                          const struct lsq_fit *q)
{
    double error = 0.5 * (lim->q_sd_l_s * lim->q_sd_l_s + lim->a_heart_l_s * lim->a_heart_l_s);
    int in = 0;
    for (int k = 0; k < u->n; k++)
        in += s->q[u->at[k]] > 0;
    double unit_in = q->se[0] / q->sd, unit_out = q->se[1] / q->sd;
    return larger(error * in * unit_in * unit_in, error * (u->n - in) * unit_out * unit_out);
}

void motion_fit(const struct motion_samples *s, const struct motion_limits *lim, double *work,
                struct motion_fit *out)
{
    const double none = (double)NAN;
    *out = (struct motion_fit){.e_cmh2o_l = none, .ri_cmh2o_s_l = none, .re_cmh2o_s_l = none, .k2 = none,
                               .p0_cmh2o = none, .r_chord = none, .re_chord = none, .r2 = none, .rmse = none,
                               .smooth = none, .condition = none, .tau_s = none, .se_r = none, .se_re = none,
                               .sd_v_l = none, .attenuation = none, .se_e = none};
    struct used u;
    find_used(s, &u);
    if (!enough(s, &u, lim)) {
        out->why = WHY_breath_short;
        return;
    }
    struct lsq_fit q;
    int rc = lsq_solve(work, fill(s, &u, 5, work), 5, CONDITION_5, &q);
    if (rc != TM_OK || q.x[4] < K2_FLOOR)
        rc = lsq_solve(work, fill(s, &u, 4, work), 4, CONDITION_4, &q);
    if (rc != TM_OK) {
        out->condition = q.condition;
        out->why = WHY_fit_singular;
        return;
    }
    take(&q, out);
    if (!lim)
        return;
    out->se_e = q.se[2] / q.x[2];
    out->se_r = q.se[0] / q.x[0];
    out->se_re = q.se[1] / q.x[1];
    out->attenuation = attenuation(s, &u, lim, &q);
    judge_residuals(s, &u, work, out);
    out->why = judge(s, lim, out);
}
