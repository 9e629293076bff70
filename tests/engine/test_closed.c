/* Whole recordings by closed form through the engine: every breath found, its times, volumes and
 * pressures. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "tests/engine/lung.h"

struct wave {
    const struct lung *l;
    double phase; /* s: the first onset */
};

static void ventilated(const void *user, double t, double *p, double *q) {
    const struct wave *w = user;
    double cycle = lung_cycle_s(w->l), at = fmod(t - w->phase + 1000 * cycle, cycle);
    lung_at(w->l, at, p, q);
}

static struct collected got;

static void close_to(const struct lung *l, double rate, int k, const char *what, double value,
                     double want, double tol) {
    if (!(fabs(value - want) <= tol)) {
        fail_msg("%s %g Hz, breath %d: %s is %.9g, not %.9g within %g", l->name, rate, k, what,
                 value, want, tol);
    }
}

static void check_row(const struct wave *w, double rate, int k, const struct breath_row *r) {
    const struct lung *l = w->l;
    double h = 1 / rate, cycle = lung_cycle_s(l), t0 = (double)r->t0_ns * 1e-9,
           t1 = (double)r->t1_ns * 1e-9;
    double edge = fmax(h, 0.010) + 1e-6,
           nearest = round((t0 - w->phase) / cycle) * cycle + w->phase;
    close_to(l, rate, k, "t0", t0, nearest, edge);
    close_to(l, rate, k, "t1", t1, nearest + l->ti + l->tip, edge);
    /* Unsynchronised edges of a flow F leave up to F h in doubt; pressure control's edge is its
     * peak flow. */
    double peak = l->vt_ml > 0 ? l->vt_ml / 1000 / l->ti : (l->dp - l->want_auto) / l->ri;
    close_to(l, rate, k, "VTi", r->v[COL_vti_ml], l->want_vt_ml,
             fmax(1000 * peak * h, 0.005 * l->want_vt_ml));
    /* The end of square flow lies up to a sample after the last one seen: pressure still rises by F
     * h / C. */
    double rise = l->vt_ml > 0 ? 1000 * peak / l->c_ml : 0; /* cmH2O/s */
    /* What the method is known to miss: from 150 Hz on means of 10 ms stand for samples, so that a
     * ramp's end is read up to 20 ms early; under it, the parabola overshoots where a pause lets
     * pressure fall by Ri F at once (measured: up to 0.126 of that fall). */
    double method = rate > 150 ? 0.020 * rise : (l->tip > 0 ? 0.13 * l->ri * peak : 0);
    close_to(l, rate, k, "PIP", r->v[COL_pip_cmh2o], l->want_pip, rise * h + method + 0.02);
    double edge_mean = (l->want_pip - l->peep) * h / cycle;
    close_to(l, rate, k, "Pmean", r->v[COL_pmean_cmh2o], l->want_pmean, edge_mean + 0.05);
    close_to(l, rate, k, "PEEP", r->v[COL_peep_cmh2o], l->peep, 0.05);
    close_to(l, rate, k, "end flow", r->v[COL_end_exp_flow_l_s], -l->want_end_flow,
             0.002 + 0.25 * fabs(l->want_end_flow)); /* a mean over a time before the end stands a
                                                        little further out */
}

static void rows_of(const struct lung *l, double rate, double phase_share) {
    struct wave w = {l, phase_share * lung_cycle_s(l)};
    struct recording_info info;
    struct engine *e;
    rig_info(&info, rate, l->infant ? PATIENT_INFANT : PATIENT_ADULT);
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    double seconds = 40 * lung_cycle_s(l);
    assert_int_equal(rig_feed(e, &got, rate, 0, seconds, ventilated, &w), TM_OK);
    got.at_end = true;
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    int whole = 0;
    double last = -1;
    for (int i = 0; i < got.rows; i++) {
        const struct breath_row *r = &got.row[i];
        if (!r->complete) {
            continue;
        }
        whole++;
        if (last >= 0) { /* none is missed, none is cut in two */
            close_to(l, rate, i, "Ttot", (double)r->t0_ns * 1e-9 - last, lung_cycle_s(l),
                     0.021 + 2 / rate);
        }
        last = (double)r->t0_ns * 1e-9;
        if (i >= 5) {
            check_row(&w, rate, i, r);
        }
    }
    assert_in_range(whole, 38, 40);
}

static void every_rate(const struct lung *from, int n) {
    static const double rates[] = {25, 50, 100, 200, 1000};
    uint64_t seed = 11;
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < 5; k++) {
            seed = seed * UINT64_C(6364136223846793005) + 1;
            rows_of(&from[i], rates[k], (double)(seed >> 40) / (1 << 24));
        }
    }
}

static void volume_control(void **state) {
    (void)state;
    every_rate(lungs, 8);
}

static void pressure_control(void **state) {
    (void)state;
    every_rate(lungs + 8, 6);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(volume_control),
                                       cmocka_unit_test(pressure_control)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
