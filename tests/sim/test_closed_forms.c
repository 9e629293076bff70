/* The simulator against closed forms, 0.5 % each, with an ideal machine. Every row was derived from
 * the equation of motion of one linear compartment and integrated a second time by an ODE solver
 * (DOP853); common practice, no source. */
#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

static const double share = 0.005;

static void near_to(double found, double wanted, double floor_of_error, const char *what) {
    double most = fmax(share * fabs(wanted), floor_of_error);
    if (!(fabs(found - wanted) <= most)) {
        fail_msg("%s: %.6f, wanted %.6f", what, found, wanted);
    }
}

static double recoil_at(const struct run *r, int64_t k) {
    return trace_get(&r->sim.trace, k)->recoil;
}

struct vc_row {
    double ri, re, c, vt, tif, tip, te, peep;
    double auto_peep, ppeak, pplat, pmean, end_flow, peak_exp, work_j;
};

/* V1 to V8; peak expired flow is (auto + VT/C)/Re. */
static const struct vc_row vc_rows[] = {
    {10, 10, 50, 500, 1.0, 0, 2.0, 5, 0.18657360, 20.18657, 15.18657, 8.39552453, 0.01865736,
     1.01866, 0.74464706},
    {10, 10, 50, 500, 0.8, 0.2, 3.0, 5, 0.02484912, 21.27485, 15.02485, 7.75621228, 0.00248491,
     1.00248, 0.79800875},
    {20, 20, 60, 500, 1.0, 0, 2.0, 5, 1.94047098, 25.27380, 15.27380, 10.36904588, 0.09702355,
     0.51369, 1.03495156},
    {25, 25, 80, 500, 1.0, 0, 2.0, 0, 3.63735442, 22.38735, 9.88735, 6.42078481, 0.14549418,
     0.39549, 0.94449584},
    {12, 12, 25, 360, 0.8, 0.2, 1.0, 12, 0.53270937, 32.33271, 26.93271, 18.74635469, 0.04439245,
     1.24439, 0.88728366},
    {15, 30, 60, 450, 0.9, 0, 2.1, 5, 3.39171524, 23.39172, 15.89172, 9.39251457, 0.11305717,
     0.36306, 0.86678742},
    {100, 100, 1.5, 12, 0.35, 0, 0.65, 5, 0.10638601, 16.53496, 13.10639, 7.63723510, 0.00106386,
     0.081064, 0.01475111},
    {10, 10, 50, 500, 1.0, 0.5, 1.5, 8, 0.52395696, 23.52396, 18.52396, 13.26197848, 0.05239570,
     1.0523957, 0.90828981},
};

/* Integral of airway pressure over volume during t0..t1, J. */
static double work_j(const struct run *r, const struct true_breath *b) {
    double sum = 0;
    for (int64_t k = b->t0; k < b->t1; k++) {
        const struct trace_point *at = trace_get(&r->sim.trace, k);
        sum += at->p_y * at->q_y * r->sim.h_s;
    }
    return sum * 0.0980665;
}

static void volume_control(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof vc_rows / sizeof *vc_rows; i++) {
        const struct vc_row *w = &vc_rows[i];
        char text[600];
        snprintf(text, sizeof text,
                 "ideal\npatient %s\nwarmup 0\nstep 0.0005\nseconds %.3f\n0 set mode=vc "
                 "rate_per_min=%.10f vt_ml=%g tif_s=%g "
                 "pause_s=%g peep_cmh2o=%g ri_cmh2o_s_l=%g re_cmh2o_s_l=%g c_ml_cmh2o=%g\n",
                 w->vt < 40 ? "infant" : "adult", 40 * (w->tif + w->tip + w->te),
                 60 / (w->tif + w->tip + w->te), w->vt, w->tif, w->tip, w->peep, w->ri, w->re,
                 w->c);
        struct run *r = run_script(text);
        const struct true_breath *b = run_last(r);
        near_to(b->total_peep - b->peep, w->auto_peep, 0.001, "auto-PEEP");
        near_to(b->peep, w->peep, 0.001, "PEEP");
        near_to(b->pip, w->ppeak, 0, "peak pressure");
        near_to(recoil_at(r, b->t1 - 1), w->pplat, 0, "plateau");
        near_to(b->pmean, w->pmean, 0, "mean pressure");
        /* mean of the last 50 ms, not the last instant: undone by half a window of the decay */
        double window = 0.05 / (w->re * w->c / 1000);
        near_to(b->end_exp_flow, w->end_flow * expm1(window) / window, 0.0002, "end-expired flow");
        near_to(b->peak_exp, w->peak_exp, 0, "peak expired flow");
        near_to(b->vti_t_ml, w->vt, 0, "inspired volume");
        near_to(b->vte_t_ml, w->vt, 0, "expired volume");
        near_to(work_j(r, b), w->work_j, 0, "work");
        assert_string_equal(b->kind, "mandatory");
        assert_string_equal(b->control, "volume");
        run_free(r);
    }
}

/* Trapped volume after n breaths from rest is (1 - b^n) of the final one: V3 81.11 and 96.43 %. */
static void filling_up(void **state) {
    (void)state;
    struct run *r = run_script(
        "ideal\nwarmup 0\nstep 0.0005\nseconds 20\n0 set mode=vc rate_per_min=20 vt_ml=500 tif_s=1 "
        "peep_cmh2o=5 ri_cmh2o_s_l=20 re_cmh2o_s_l=20 c_ml_cmh2o=60\n");
    const struct true_breath *b = r->sim.truth.breaths;
    near_to(b[0].total_peep - 5, 0.811124 * 1.94047098, 0, "after one breath");
    near_to(b[1].total_peep - 5, 0.964326 * 1.94047098, 0, "after two");
    run_free(r);
}

struct pc_row {
    double ri, re, c, dp, peep, ti, te, vt, auto_peep, peak, end_insp, palv, pmean;
};

static const struct pc_row pc_rows[] = {
    {10, 10, 50, 15, 5, 1.0, 2.0, 638.20282, 0.23814360, 1.47618564, 0.19978000, 18.00220, 10},
    {10, 10, 30, 15, 10, 0.8, 1.6, 416.85067, 0.06740992, 1.49325901, 0.10375679, 23.96243, 15},
    {25, 25, 60, 20, 5, 1.0, 1.5, 455.04099, 4.41372098, 0.62345116, 0.32009050, 16.99774, 13},
    {20, 20, 80, 15, 0, 0.8, 2.2, 416.68189, 1.76256799, 0.66187160, 0.40144542, 6.97109, 4},
    {15, 25, 50, 18, 8, 1.2, 1.8, 575.64549, 3.57466537, 0.96168898, 0.19416166, 23.08758, 15.2},
    {100, 100, 1.5, 15, 5, 0.35, 0.35, 18.52201, 1.32599516, 0.13674005, 0.01325995, 18.67400,
     12.5},
};

static void pressure_control(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof pc_rows / sizeof *pc_rows; i++) {
        const struct pc_row *w = &pc_rows[i];
        char text[600];
        snprintf(text, sizeof text,
                 "ideal\npatient %s\nwarmup 0\nstep 0.0005\nseconds %.3f\n0 set mode=pc "
                 "rate_per_min=%.10f dp_cmh2o=%g "
                 "ti_s=%g peep_cmh2o=%g ri_cmh2o_s_l=%g re_cmh2o_s_l=%g c_ml_cmh2o=%g\n",
                 w->vt < 40 ? "infant" : "adult", 40 * (w->ti + w->te), 60 / (w->ti + w->te), w->dp,
                 w->ti, w->peep, w->ri, w->re, w->c);
        struct run *r = run_script(text);
        const struct true_breath *b = run_last(r);
        near_to(b->vti_t_ml, w->vt, 0, "volume");
        near_to(b->total_peep - b->peep, w->auto_peep, 0.001, "auto-PEEP");
        near_to(b->peak_insp, w->peak, 0, "peak flow");
        near_to(trace_get(&r->sim.trace, b->t1 - 1)->q_y, w->end_insp, 0.0002, "end-inspired flow");
        near_to(recoil_at(r, b->t1 - 1), w->palv, 0, "alveolar pressure");
        near_to(b->pmean, w->pmean, 0, "mean pressure");
        near_to(work_j(r, b), (w->peep + w->dp) * w->vt / 1000 * 0.0980665, 0, "work");
        run_free(r);
    }
}

struct ps_row {
    double r, c, dp, end_flow, rise_tau, pmus, tn, leak, ends_s, volume_ml, peak;
};

/* NAN: not stated. Leak rows: a constant leak on top of a peak flow of 1.2 L/s. */
static const struct ps_row ps_rows[] = {
    {10, 50, 12, 0.05, 0, 0, 0, 0, 1.49786614, 570, 1.2},
    {10, 50, 12, 0.25, 0, 0, 0, 0, 0.69314718, 450, 1.2},
    {10, 50, 12, 0.40, 0, 0, 0, 0, 0.45814537, 360, 1.2},
    {10, 50, 12, 0.70, 0, 0, 0, 0, 0.17833747, 180, 1.2},
    {10, 50, 12, 0.25, 0.05, 0, 0, 0, 0.87374876, 483.86043, 0.92911642},
    {10, 50, 12, 0.25, 0.10, 0, 0, 0, 1.00573846, 499.66323, 0.80248837},
    {10, 50, 12, 0.25, 0.15, 0, 0, 0, 1.12687109, 510.13571, 0.71629242},
    {10, 50, 12, 0.25, 0, 0, 0, 0.1, 0.836988, NAN, 1.3},
    {10, 50, 12, 0.25, 0, 0, 0, 0.2, 1.039721, NAN, 1.4},
    {10, 50, 10, 0.25, 0, 10, 1.0, 0, 0.75561885, 702.77549, 1.15585730},
    {20, 60, 12, 0.25, 0, 8, 0.8, 0, 0.79298798, 496.51176, 0.78901304},
};

static void pressure_support(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof ps_rows / sizeof *ps_rows; i++) {
        const struct ps_row *w = &ps_rows[i];
        char text[700];
        int n =
            snprintf(text, sizeof text,
                     "ideal\nwarmup 0\nstep 0.0002\nseconds 16\n0 set mode=ps dp_cmh2o=%g "
                     "end_flow=%g rise_tau_s=%g "
                     "peep_cmh2o=5 ri_cmh2o_s_l=%g re_cmh2o_s_l=%g c_ml_cmh2o=%g ti_max_s=5\n"
                     "9 set leak_k=%.10f\n9 breath\n"
                     "12 breath\n",
                     w->dp, w->end_flow, w->rise_tau, w->r, w->r, w->c, w->leak / sqrt(5 + w->dp));
        if (w->pmus > 0) {
            snprintf(text + n, sizeof text - (size_t)n,
                     "9 effort form=halfsine peak=%g seconds=%g\n", w->pmus, w->tn);
        }
        struct run *r = run_script(text);
        const struct true_breath *b = r->sim.truth.breaths;
        near_to((double)(b->t1 - b->t0) * r->sim.h_s, w->ends_s, 0.0006, "end of support");
        near_to(b->peak_insp, w->peak, 0, "peak flow");
        if (!isnan(w->volume_ml)) {
            near_to(b->vti_t_ml, w->volume_ml, 0, "volume");
        }
        run_free(r);
    }
}

/* Half-sine of 8 cmH2O over 1 s, R 10, C 50: flow reverses at 0.78382419 s, 251.24849 mL, patient's
 * work 0.15814741 J. */
static void unassisted(void **state) {
    (void)state;
    struct run *r = run_script(
        "ideal\nwarmup 0\nstep 0.0005\nseconds 30\n0 set mode=cpap peep_cmh2o=5 ri_cmh2o_s_l=10 "
        "re_cmh2o_s_l=10 c_ml_cmh2o=50\n10 effort form=halfsine peak=8 seconds=1\n"
        "20 effort form=halfsine peak=8 seconds=1\n");
    const struct true_breath *b = r->sim.truth.breaths;
    double work = 0;
    assert_int_equal(r->sim.truth.n_breaths, 2);
    near_to((double)b->t0 * r->sim.h_s, 10, 0.001, "flow turns inward");
    near_to((double)(b->t1 - b->t0) * r->sim.h_s, 0.78382419, 0.001, "flow turns outward");
    near_to(b->vti_t_ml, 251.24849, 0, "inspired volume");
    for (int64_t k = b->t0; k < b->t1; k++) {
        const struct trace_point *at = trace_get(&r->sim.trace, k);
        work += at->pmus * at->q_y * r->sim.h_s;
    }
    near_to(work * 0.0980665, 0.15814741, 0, "patient's work");
    assert_string_equal(b->kind, "unassisted");
    run_free(r);
}

/* Against a shut port without circuit gas, 0.1 s of a half-sine of 10 over 1 s is 10 sin(0.1 pi)
 * = 3.09016994. */
static void occlusion(void **state) {
    (void)state;
    struct run *r =
        run_script("ideal\nwarmup 0\nstep 0.0005\nseconds 15\n0 set mode=cpap peep_cmh2o=5\n"
                   "10 exp_hold seconds=3\n11 effort form=halfsine peak=10 seconds=1\n");
    int64_t onset = (int64_t)(11 / r->sim.h_s + 0.5), step = (int64_t)(0.1 / r->sim.h_s + 0.5);
    double before = trace_get(&r->sim.trace, onset - 1)->p_y,
           after = trace_get(&r->sim.trace, onset + step - 1)->p_y;
    near_to(before - after, 3.09016994, 0, "P0.1");
    run_free(r);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(volume_control),   cmocka_unit_test(filling_up),
        cmocka_unit_test(pressure_control), cmocka_unit_test(pressure_support),
        cmocka_unit_test(unassisted),       cmocka_unit_test(occlusion),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
