#include "analyze/mechanics/output_error.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

#define ROUNDS   6
#define SETTLED  0.02 /* Gauss and Newton square what is left: under 0.001 */
#define PARTS    5 /* E, Ri, Re, P0, volume at the start */
#define COND_MAX 400.0

enum part { PART_E, PART_RI, PART_RE, PART_P0, PART_V0 };

/* One step of dt under the mean pressure p: v and its derivatives. */
static void step(const double x[PARTS], double k2_part, double p, double dt, double *v, double d[PARTS])
{
    double e = x[PART_E], drive = (p - x[PART_P0]) / e;
    enum part way = drive > *v ? PART_RI : PART_RE;
    double r = x[way] + k2_part, a = exp(-dt * e / r), rest = (*v - drive) * a;
    for (int j = 0; j < PARTS; j++)
        d[j] *= a;
    d[PART_E] -= drive / e * (1 - a) + rest * dt / r;
    d[way] += rest * dt * e / (r * r);
    d[PART_P0] -= (1 - a) / e;
    *v = drive + rest;
}

static int simulate(const struct motion_samples *s, const double x[PARTS], double k2, double *a)
{
    double v = x[PART_V0], d[PARTS] = {0};
    d[PART_V0] = 1;
    for (int i = 0; i < s->n; i++) {
        if (i > 0) {
            double part = k2 * fabs(0.5 * (s->q[i - 1] + s->q[i]));
            step(x, part, 0.5 * (s->p[i - 1] + s->p[i]), s->t_s[i] - s->t_s[i - 1], &v, d);
        }
        double *row = a + (ptrdiff_t)i * (PARTS + 1);
        memcpy(row, d, sizeof d);
        row[PARTS] = s->v[i] - v;
    }
    return s->n;
}

/* Mean |flow| that the chords were taken at. */
static void adopt(const double x[PARTS], const struct lsq_fit *q, struct motion_fit *f)
{
    f->r_chord += x[PART_RI] - f->ri_cmh2o_s_l;
    f->re_chord += x[PART_RE] - f->re_cmh2o_s_l;
    f->e_cmh2o_l = x[PART_E];
    f->ri_cmh2o_s_l = x[PART_RI];
    f->re_cmh2o_s_l = x[PART_RE];
    f->p0_cmh2o = x[PART_P0];
    f->sd_v_l = q->sd;
    f->se_e = q->se[PART_E] / x[PART_E];
    f->se_r = q->se[PART_RI] / f->r_chord;
    f->se_re = q->se[PART_RE] / f->re_chord;
}

bool output_error(const struct motion_samples *s, double *work, struct motion_fit *f)
{
    double x[PARTS] = {f->e_cmh2o_l, f->ri_cmh2o_s_l, f->re_cmh2o_s_l, f->p0_cmh2o, s->v[0]};
    if (s->n < 4 * PARTS || !(x[PART_E] > 0))
        return false;
    for (int round = 0; round < ROUNDS; round++) {
        struct lsq_fit q;
        double most = 0;
        if (!(x[PART_RI] > 0) || !(x[PART_RE] > 0) ||
            lsq_solve(work, simulate(s, x, f->k2 > 0 ? f->k2 : 0, work), PARTS, COND_MAX, &q) != TM_OK)
            return false;
        for (int j = 0; j < PARTS; j++) {
            /* No constant of the lung may halve or double at once. */
            double move = q.x[j];
            if (j <= PART_RE)
                move = fmax(-0.5 * x[j], fmin(x[j], move));
            x[j] += move;
            if (j <= PART_RE)
                most = fmax(most, fabs(move) / x[j]);
        }
        if (most < SETTLED) {
            adopt(x, &q, f);
            return true;
        }
    }
    return false;
}
