/* Causes have effects, disturbances their size, and a seed its patient. */
#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fixtures/sim/case.h"

static const char assisted[] =
    "seed 3\nseconds 60\n0 set mode=vc rate_per_min=10 drive_per_min=18 pmus_cmh2o=7 ";

/* The same patient with a live and with a dead trigger: only the machine's own sensors tell it of
 * efforts. */
static void efforts_trigger(void **state) {
    (void)state;
    char text[400];
    snprintf(text, sizeof text, "%strigger=flow\n", assisted);
    struct run *live = run_script(text);
    snprintf(text, sizeof text, "%strigger=none\n", assisted);
    struct run *dead = run_script(text);
    assert_true(run_count(live, "assisted") >= 20);
    assert_int_equal(run_count(dead, "assisted"), 0);
    size_t answered = 0, late = 0;
    for (size_t i = 0; i < live->sim.truth.n_efforts; i++) {
        const struct true_effort *e = &live->sim.truth.efforts[i];
        answered += e->answered;
        for (size_t k = 0; k < live->sim.truth.n_breaths; k++) {
            double delay = truth_time(&live->sim.truth, live->sim.truth.breaths[k].t0) - e->start_s;
            late += delay > 0 && delay < 0.012; /* the dead time alone is 15 ms */
        }
    }
    assert_true(answered * 10 >= live->sim.truth.n_efforts * 9);
    assert_int_equal(late, 0);
    run_free(live);
    run_free(dead);
}

/* An effort against a shut valve moves the tubing's gas: C dP, through the sensor. */
static void occluded_effort_moves_gas(void **state) {
    (void)state;
    struct run *r = run_script(
        "step 0.0005\nseconds 15\n0 set mode=cpap circuit_ml_cmh2o=2\n10 exp_hold seconds=3\n"
        "11.2 effort peak=10 seconds=0.6 relax=0.1\n");
    int64_t from = (int64_t)((20 + 11.19) / r->sim.h_s), to = (int64_t)((20 + 11.79) / r->sim.h_s);
    double moved = 0;
    for (int64_t k = from; k < to; k++) {
        moved += trace_get(&r->sim.trace, k)->q_y * r->sim.h_s * 1000;
    }
    double fall = trace_get(&r->sim.trace, from)->p_y - trace_get(&r->sim.trace, to)->p_y;
    assert_true(fall > 7);
    assert_true(fabs(moved - 2 * fall) < 0.5);
    run_free(r);
}

static void holds_and_inflation(void **state) {
    (void)state;
    struct run *r = run_script(
        "seconds 120\n0 set mode=vc rate_per_min=20 ri_cmh2o_s_l=20 re_cmh2o_s_l=25 c_ml_cmh2o=60\n"
        "30 insp_hold seconds=3\n50 exp_hold seconds=4\n70 inflate level=35 seconds=30\n");
    const struct truth *t = &r->sim.truth;
    assert_int_equal(t->n_events, 3);
    assert_string_equal(t->events[0].name, "insp_hold");
    assert_string_equal(t->events[1].name, "exp_hold");
    assert_string_equal(t->events[2].name, "sustained_inflation");
    for (int i = 0; i < 2; i++) {
        /* At the end of a hold the airway shows the alveolar pressure. */
        int64_t k = (int64_t)((t->events[i].end_s + 20) / r->sim.h_s) - 2;
        assert_true(fabs(trace_get(&r->sim.trace, k)->p_y - trace_get(&r->sim.trace, k)->recoil) <
                    0.02);
        assert_true(fabs(trace_get(&r->sim.trace, k)->q_y) < 0.002);
    }
    int64_t k = (int64_t)((t->events[2].end_s + 20) / r->sim.h_s) - 2;
    assert_true(fabs(trace_get(&r->sim.trace, k)->p_y - 35) < 0.5);
    run_free(r);
}

static double sd(const double *v, size_t n) {
    double sum = 0, square = 0;
    for (size_t i = 0; i < n; i++) {
        sum += v[i];
        square += v[i] * v[i];
    }
    return sqrt(fmax(0, square / (double)n - sum / (double)n * sum / (double)n));
}

/* A silent patient at CPAP shows noise and heart alone. */
static void disturbances_have_their_size(void **state) {
    (void)state;
    struct run *r = run_script("seconds 60\n0 set mode=cpap noise_p=0.15 noise_q=0.008\n");
    assert_true(fabs(sd(r->p, r->n) - 0.15) < 0.005);
    assert_true(fabs(sd(r->q, r->n) - 0.008) < 0.0003);
    run_free(r);
    r = run_script("seconds 60\n0 set mode=cpap heart_l_s=0.03333\n");
    double low = 1, high = -1;
    for (size_t i = 0; i < r->n; i++) {
        low = fmin(low, r->q[i]);
        high = fmax(high, r->q[i]);
    }
    assert_true(high - low > 0.8 * 0.0333 &&
                high - low < 1.5 * 0.0333); /* beats vary: the largest tops the mean */
    run_free(r);
    r = run_script("seconds 60\n0 set mode=vc leak_k=0.01\n");
    const struct true_breath *b = run_last(r);
    double leak = 0;
    for (int64_t k = b->t0; k < b->t2; k++) {
        leak += 10 * sqrt(trace_get(&r->sim.trace, k)->p_y) * r->sim.h_s;
    }
    assert_true(fabs(b->vti_t_ml - b->vte_t_ml - leak) < 0.02 * leak + 1);
    run_free(r);
}

static void sampling(void **state) {
    (void)state;
    struct run *r = run_script("rate 1000/3\nseconds 30\n10 gap seconds=5 reason=cable-out\n");
    assert_int_equal(r->n, 10000 - 1666);
    for (size_t i = 0; i < 3000; i++) {
        assert_true(fabs(r->t_s[i] - 0.003 * (double)i) < 1e-9);
    }
    assert_int_equal(r->gaps, 1);
    run_free(r);
    r = run_script("rate 50\nseconds 200\n0 set jitter_s=0.002 drop_share=0.01\n");
    assert_true(r->n > 9800 && r->n < 9990);
    for (size_t i = 1; i < r->n; i++) {
        assert_true(r->t_s[i] > r->t_s[i - 1]);
    }
    run_free(r);
}

static void one_seed_one_patient(void **state) {
    (void)state;
    for (uint64_t seed = 1; seed <= 12; seed++) {
        char *text = case_patient(seed, (enum stratum)(seed % 3), 120, "100");
        assert_non_null(text);
        struct run *a = run_script(text), *b = run_script(text);
        assert_int_equal(a->n, b->n);
        assert_memory_equal(a->p, b->p, a->n * sizeof *a->p);
        assert_memory_equal(a->q, b->q, a->n * sizeof *a->q);
        assert_true(a->sim.truth.n_breaths >= 8);
        run_free(a);
        run_free(b);
        free(text);
    }
}

static void bad_scripts_are_refused(void **state) {
    (void)state;
    static const char *const bad[] = {
        "rate 10\n",           "rate 100x\n",
        "seconds -1\n",        "nonsense 3\n",
        "0 set nothing=3\n",   "0 set peep_cmh2o=99\n",
        "0 set mode=xy\n",     "0 set peep_cmh2o=nan\n",
        "5 fly seconds=3\n",   "5 insp_hold level=3\n",
        "5 gap reason=\n",     "5 mark\n",
        "5 effort form=odd\n", "patient giant\n",
        "0 set peep_cmh2o\n",
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct script s;
        struct err e = {.what = ""};
        script_init(&s);
        assert_int_equal(script_text(&s, bad[i], "bad", &e), TM_ERR_INPUT);
        assert_int_equal(e.line, 1);
        assert_true(e.what[0] != '\0');
        script_free(&s);
    }
}

/* Mean 0 and sd 1 within four standard errors. */
static void random_numbers(void **state) {
    (void)state;
    struct prng r;
    prng_seed(&r, 1, 1);
    double sum = 0, square = 0;
    for (int i = 0; i < 100000; i++) {
        double v = prng_normal(&r);
        sum += v;
        square += v * v;
    }
    assert_true(fabs(sum / 100000) < 0.015);
    assert_true(fabs(square / 100000 - 1) < 0.02);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(efforts_trigger),
        cmocka_unit_test(occluded_effort_moves_gas),
        cmocka_unit_test(holds_and_inflation),
        cmocka_unit_test(disturbances_have_their_size),
        cmocka_unit_test(sampling),
        cmocka_unit_test(one_seed_one_patient),
        cmocka_unit_test(bad_scripts_are_refused),
        cmocka_unit_test(random_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
