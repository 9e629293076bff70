/* Each part of the lung against its closed form, most within 0.2 %, on an ideal machine. Derived
 * from the equations in fixtures/sim/lung.h and lung_recoil.h. */
#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void near_to(double found, double wanted, double most, const char *what) {
    if (!(fabs(found - wanted) <= most)) {
        fail_msg("%s: %.6f, wanted %.6f", what, found, wanted);
    }
}

static const struct trace_point *at_s(const struct run *r, double t_s) {
    return trace_get(&r->sim.trace, (int64_t)floor((t_s + r->script.warmup_s) / r->sim.h_s + 0.5));
}

/* Steady flow: the tube costs K1 F + K2 F^2 on top of the lung's own resistance. */
static void tube_pressure(void **state) {
    (void)state;
    static const double flow[] = {0.2, 0.5, 1.0};
    for (int i = 0; i < 3; i++) {
        char text[300];
        snprintf(text, sizeof text,
                 "ideal\nwarmup 0\nseconds 20\n0 set mode=vc vt_ml=%.0f tif_s=1 rate_per_min=10 "
                 "ri_cmh2o_s_l=4 tube_k1=3 tube_k2=8\n",
                 1000 * flow[i]);
        struct run *r = run_script(text);
        const struct true_breath *b = run_last(r);
        const struct trace_point *end = trace_get(&r->sim.trace, b->t1 - 1);
        double f = flow[i], want = 7 * f + 8 * f * f;
        near_to(end->q_y, f, 1e-9, "flow");
        /* recoil stands at the step's end, pressure at its middle */
        double half = f * r->sim.h_s / 2 / 0.05;
        near_to(end->p_y - (end->recoil - half), want, 1e-6, "pressure over tube and airways");
        run_free(r);
    }
}

static double sigmoid_l(double p, double mid, double width, double c_l) {
    double b = 4 * width * c_l, a = -b / (1 + exp(mid / width));
    return a + b / (1 + exp(-(p - mid) / width));
}

/* Volume at the end of long inflations, and recoil along a slow one. */
static void sigmoid(void **state) {
    (void)state;
    const double c_l = 0.09, mid = 18, width = 5;
    /* Venegas's form: corners c -+ 2d, greatest compliance b/(4d) = 90 mL/cmH2O for b = 1.8 L. */
    near_to(sigmoid_l(18.01, mid, width, c_l) - sigmoid_l(17.99, mid, width, c_l), 0.02 * 0.09,
            1e-8, "compliance in the middle");
    struct run *r =
        run_script("ideal\nwarmup 0\nseconds 400\n0 set mode=cpap peep_cmh2o=0 refractory_s=0 "
                   "c_ml_cmh2o=90 curve_mid_cmh2o=18 curve_width_cmh2o=5\n"
                   "20 inflate level=10 seconds=40\n100 inflate level=20 seconds=40\n"
                   "200 inflate level=30 seconds=40\n");
    static const double top_s[] = {59, 139, 239}, level[] = {10, 20, 30};
    double v = 0;
    int next = 0;
    for (int64_t k = 0; k < r->sim.trace.n; k++) {
        v += trace_get(&r->sim.trace, k)->q_y * r->sim.h_s;
        double t_s = (double)k * r->sim.h_s, recoil = trace_get(&r->sim.trace, k)->recoil;
        near_to(sigmoid_l(recoil, mid, width, c_l), v, 0.0005, "volume for the recoil");
        if (next < 3 && t_s >= top_s[next]) {
            near_to(v, sigmoid_l(level[next], mid, width, c_l), 0.0005, "static volume");
            near_to(recoil, level[next], 0.01, "static pressure");
            next++;
        }
    }
    assert_int_equal(next, 3);
    run_free(r);
    struct params p;
    params_defaults(&p);
    p.curve_width_cmh2o = 5;
    struct recoil_law law = recoil_law(&p);
    for (double cmh2o = -60; cmh2o < 100; cmh2o += 2.5) { /* tangents beyond the ends included */
        double tangent;
        near_to(recoil_pressure(&law, 0.05, recoil_volume(&law, 0.05, cmh2o), &tangent), cmh2o,
                1e-9, "there and back");
        assert_true(tangent > 0);
    }
}

/* Constant flow F for Ti into a relaxed lung, then a hold: p = E V + E2 tau F (1 - exp(-Ti/tau))
 * exp(-t/tau). */
static void stress_relaxation(void **state) {
    (void)state;
    struct run *r = run_script("ideal\nwarmup 0\nseconds 60\n0 set mode=vc vt_ml=500 tif_s=1 "
                               "rate_per_min=2 c_ml_cmh2o=50 relax_e_cmh2o_l=8 relax_s=0.8 "
                               "peep_cmh2o=5\n20 insp_hold seconds=6\n");
    assert_int_equal(r->sim.truth.n_events, 1);
    double from_s = r->sim.truth.events[0].start_s;
    for (double t = 0.01; t < 5; t += 0.25) {
        double want = 15 + 8 * 0.8 * 0.5 * (1 - exp(-1 / 0.8)) * exp(-t / 0.8);
        near_to(at_s(r, from_s + t)->p_y, want, 0.01, "pressure in the hold");
    }
    run_free(r);
}

/* Limited flow: (V - V0)/tau at any driving pressure, so V - V0 decays with tau. */
static void waterfall(void **state) {
    (void)state;
    double flow[2][20];
    for (int low = 0; low < 2; low++) {
        char text[400];
        snprintf(text, sizeof text,
                 "ideal\nwarmup 0\nseconds 110\n0 set mode=cpap peep_cmh2o=8 refractory_s=0 "
                 "c_ml_cmh2o=60 "
                 "re_cmh2o_s_l=5 efl_s=2.5 efl_ml=300\n20 inflate level=30 seconds=40\n%s",
                 low ? "30 set peep_cmh2o=0\n" : "");
        struct run *r = run_script(text);
        const struct true_event *ev = &r->sim.truth.events[0];
        assert_string_equal(ev->name, "sustained_inflation");
        for (int i = 0; i < 20; i++) {
            double t = 0.05 + 0.1 * i;
            flow[low][i] = at_s(r, ev->end_s + t)->q_y;
            double want = -(0.06 * 30 - 0.3) / 2.5 * exp(-t / 2.5);
            near_to(flow[low][i], want, 0.002 * fabs(want), "limited flow");
            near_to(at_s(r, ev->end_s + t)->limited, -flow[low][i], 1e-12, "all of it is limited");
        }
        run_free(r);
    }
    for (int i = 0; i < 20; i++) {
        near_to(flow[1][i], flow[0][i], 1e-9, "flow at two driving pressures");
    }
}

static void two_parts_empty(void **state) {
    (void)state;
    struct run *r =
        run_script("ideal\nwarmup 0\nseconds 120\n0 set mode=cpap peep_cmh2o=0 refractory_s=0 "
                   "c_ml_cmh2o=30 re_cmh2o_s_l=10 c2_ml_cmh2o=25 ri2_cmh2o_s_l=40 "
                   "re2_cmh2o_s_l=60\n20 inflate level=20 seconds=60\n");
    double end_s = r->sim.truth.events[0].end_s, v = 0;
    double before = at_s(r, end_s - 0.01)->recoil;
    near_to(before, 20, 0.001, "both are full");
    int64_t first = (int64_t)floor(end_s / r->sim.h_s + 0.5);
    for (int64_t k = 0; k < 6000; k++) {
        double t = ((double)k + 0.5) * r->sim.h_s, q = trace_get(&r->sim.trace, first + k)->q_y;
        double want = -20 / 10.0 * exp(-t / 0.3) - 20 / 60.0 * exp(-t / 1.5);
        near_to(q, want, 0.0005 * fabs(want) + 1e-5, "flow of two exponentials");
        v += q * r->sim.h_s;
    }
    double want = -20 * (0.03 * (1 - exp(-6 / 0.3)) + 0.025 * (1 - exp(-6 / 1.5)));
    near_to(v, want, 0.001 * fabs(want), "volume");
    run_free(r);
}

/* The seal opens at 12: nothing below it, k d/sqrt(d + 0.1) above. */
static void cuff(void **state) {
    (void)state;
    struct run *r = run_script("ideal\nwarmup 0\nseconds 100\n0 set mode=cpap peep_cmh2o=10 "
                               "cuff_k=0.05 cuff_cmh2o=12\n30 inflate level=20 seconds=40\n");
    near_to(at_s(r, 25)->q_y, 0, 1e-9, "leak below the seal's pressure");
    near_to(at_s(r, 65)->q_y, 0.05 * 8 / sqrt(8.1), 1e-4, "leak above it");
    near_to(at_s(r, 65)->leak, at_s(r, 65)->q_y, 1e-4, "told as leak");
    near_to(at_s(r, 65)->q_lung, 0, 1e-6, "none of it goes into the lung");
    run_free(r);
}

/* Opens at (P - 20)/(10 T) a second above 20, and stays open until recoil is below 6. */
static void recruitment(void **state) {
    (void)state;
    struct run *r =
        run_script("ideal\nwarmup 0\nseconds 200\n0 set mode=cpap peep_cmh2o=10 "
                   "c_ml_cmh2o=40 recruit_share=0.5 recruit_open_cmh2o=20 "
                   "recruit_close_cmh2o=6 recruit_s=20\n30 inflate level=30 seconds=10\n"
                   "100 set peep_cmh2o=2\n");
    double v[5] = {0}, t_s[] = {29, 90, 199};
    for (int i = 0; i < 3; i++) {
        for (int64_t k = 0; k < (int64_t)(t_s[i] / r->sim.h_s); k++) {
            v[i] += trace_get(&r->sim.trace, k)->q_y * r->sim.h_s;
        }
    }
    near_to(v[0], 0, 1e-6, "nothing opens at 10");
    /* About 9 s at 30, less the rise: open share 0.4 to 0.5; back at 10 the lung holds more. */
    double open = v[1] / (0.04 * 0.5 * 10);
    assert_true(open > 0.38 && open < 0.5);
    near_to(r->sim.lung.part[0].open, 0, 1e-9, "shut again after long enough at 2");
    near_to(v[2], 0.04 * 2 - 0.04 * 10, 0.0005, "and the volume is gone");
    run_free(r);
}

/* Hostile constants at the longest step: finite, bounded, and what went in is there or came out. */
static void stable_and_balanced(void **state) {
    (void)state;
    static const char *const lungs[] = {
        "c_ml_cmh2o=0.2 ri_cmh2o_s_l=0.5 re_cmh2o_s_l=0.5 vt_ml=3",
        "c_ml_cmh2o=0.3 ri_cmh2o_s_l=0.5 re_cmh2o_s_l=300 c2_ml_cmh2o=300 ri2_cmh2o_s_l=0.5 "
        "re2_cmh2o_s_l=1000 tube_k2=20000 vt_ml=20",
        "c_ml_cmh2o=20 curve_width_cmh2o=1 curve_mid_cmh2o=10 vt_ml=600 tube_k2=100",
        "c_ml_cmh2o=50 relax_e_cmh2o_l=2000 relax_s=0.02 efl_s=0.05 efl_ml=500 airway_ml_cmh2o=10",
        "c_ml_cmh2o=30 c2_ml_cmh2o=40 cuff_k=1 cuff_cmh2o=3 recruit_share=3 recruit_s=0.05 "
        "recruit_open_cmh2o=8 recruit_close_cmh2o=7 efl_s=0.3 secretions=0.8",
    };
    static const char *const modes[] = {"vc", "pc", "ps drive_per_min=25", "cpap drive_per_min=25"};
    for (size_t i = 0; i < sizeof lungs / sizeof *lungs * 4; i++) {
        char text[600];
        snprintf(
            text, sizeof text,
            "step 0.002\nseconds 60\n0 set mode=%s condensate_cmh2o=3 heart_l_s=0.05 leak_k=0.01\n"
            "0 set %s\n20 insp_hold seconds=3\n30 suction form=closed seconds=6\n"
            "45 disconnect form=b seconds=5\n",
            modes[i % 4], lungs[i / 4]);
        struct run *r = run_script(text);
        double in = 0, first = 0;
        for (int64_t k = 0; k < r->sim.trace.n; k++) {
            const struct trace_point *at = trace_get(&r->sim.trace, k);
            assert_true(fabs(at->p_y) < 300 && fabs(at->q_y) < 60 && fabs(at->recoil) < 500);
            in += at->q_lung * r->sim.h_s;
            first = k == 0 ? r->sim.lung.v_l : first;
        }
        struct lung fresh;
        lung_init(&fresh, &r->sim.p, r->sim.p.peep_cmh2o);
        near_to(in, r->sim.lung.v_l - fresh.v_l, 1e-6, "flow into the parts is their volume");
        run_free(r);
    }
}

/* Halving the step eight times over changes a breath by less than 0.3 %. */
static void steps_do_not_matter(void **state) {
    (void)state;
    double found[2][4];
    for (int fine = 0; fine < 2; fine++) {
        char text[500];
        snprintf(text, sizeof text,
                 "ideal\nwarmup 0\nstep %s\nseconds 40\n0 set mode=pc dp_cmh2o=15 c_ml_cmh2o=30 "
                 "c2_ml_cmh2o=20 ri2_cmh2o_s_l=40 re2_cmh2o_s_l=60 tube_k1=2 tube_k2=8 "
                 "relax_e_cmh2o_l=6 curve_width_cmh2o=8 airway_ml_cmh2o=1\n",
                 fine ? "0.000125" : "0.001");
        struct run *r = run_script(text);
        const struct true_breath *b = run_last(r);
        const double of[] = {b->vti_t_ml, b->dyn_c, b->dyn_ri, b->dyn_re};
        memcpy(found[fine], of, sizeof of);
        run_free(r);
    }
    for (int i = 0; i < 4; i++) {
        near_to(found[0][i], found[1][i], 0.003 * fabs(found[1][i]), "coarse against fine");
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tube_pressure),       cmocka_unit_test(sigmoid),
        cmocka_unit_test(stress_relaxation),   cmocka_unit_test(waterfall),
        cmocka_unit_test(two_parts_empty),     cmocka_unit_test(cuff),
        cmocka_unit_test(recruitment),         cmocka_unit_test(stable_and_balanced),
        cmocka_unit_test(steps_do_not_matter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
