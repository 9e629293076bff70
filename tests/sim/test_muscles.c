/* Efforts: what their shapes promise, and what else the muscles do. */
#include "tests/sim/run_script.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const struct trace_point *at_s(const struct run *r, double t_s) {
    return trace_get(&r->sim.trace, (int64_t)floor((t_s + r->script.warmup_s) / r->sim.h_s + 0.5));
}

/* Peak, half of it at the neural end and not before, nothing at the end, no jump. */
static void shapes(void **state) {
    (void)state;
    for (int shape = EFFORT_SMOOTH; shape <= EFFORT_LATE; shape++) {
        for (int tonic = 0; tonic <= 6; tonic++) {
            for (int fast = 0; fast < 2; fast++) {
                struct effort e = {
                    2, 0.8, fast ? 0.04 : 0.2, 10, (enum effort_shape)shape, tonic * 0.1, 0.4};
                double peak = 0, last = 0, half_s = 0, peak_s = 0, steepest = 0;
                for (double t = 2; t < effort_end(&e) + 0.1; t += 0.0002) {
                    double p = effort_pressure(&e, t);
                    steepest = fmax(steepest, fabs(p - last));
                    if (p > peak) {
                        peak = p;
                        peak_s = t;
                    }
                    half_s = p >= 5 ? t : half_s;
                    last = p;
                }
                assert_true(fabs(peak - 10) < 0.01);
                assert_true(peak_s >= 2 && peak_s <= 2.801);
                assert_true(fabs(half_s - effort_neural_end(&e)) < 0.0005);
                assert_true(effort_neural_end(&e) <= effort_end(&e));
                assert_true(effort_pressure(&e, effort_end(&e) - 0.0002) < 0.25);
                assert_true(steepest < 0.25); /* 0.04 s for all of it */
            }
        }
    }
}

/* A second hump of its own: up, down by a third, up again. */
static void double_hump(void **state) {
    (void)state;
    struct effort e = {0, 1, 0.1, 10, EFFORT_DOUBLE, 0, 0};
    assert_true(fabs(effort_pressure(&e, 0.3) - 9) < 0.01);
    assert_true(fabs(effort_pressure(&e, 0.6) - 6.2) < 0.01);
    assert_true(fabs(effort_pressure(&e, 0.9999) - 10) < 0.01);
}

/* Between the shares of the time from effort to effort, with its size; 0 elsewhere. */
static void active_expiration(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 120\n0 set mode=cpap drive_per_min=15 drive_cv=0 pmus_cmh2o=8 "
                   "effort_rise_s=0.8 effort_relax_s=0.2 push_cmh2o=6 push_from=0.4 "
                   "push_to=0.8\n");
    const struct truth *t = &r->sim.truth;
    size_t seen = 0;
    for (size_t i = 5; i + 1 < t->n_efforts; i++) {
        double end = t->efforts[i].start_s + 1, next = t->efforts[i + 1].start_s, span = next - end;
        assert_true(fabs(next - t->efforts[i].start_s - 4) < 0.01);
        assert_true(fabs(at_s(r, end + 0.35 * span)->pmus) < 1e-9);
        assert_true(fabs(at_s(r, end + 0.83 * span)->pmus) < 1e-9);
        double deep = at_s(r, end + 0.6 * span)->pmus;
        assert_true(deep < -2.5 && deep > -10);
        seen++;
    }
    assert_true(seen > 20);
    assert_true(run_last(r)->pmus_min < -2.5);
    run_free(r);
}

/* One that lasts into the next effort is still there when it starts. */
static void late_push(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 60\n0 set mode=cpap drive_per_min=15 drive_cv=0 pmus_cmh2o=8 "
                   "push_cmh2o=6 push_from=0.5 push_to=1.1\n");
    const struct truth *t = &r->sim.truth;
    assert_true(t->n_efforts > 8);
    for (size_t i = 5; i < t->n_efforts; i++) {
        assert_true(at_s(r, t->efforts[i].start_s + 0.02)->pmus < -2);
    }
    run_free(r);
}

/* Each n-th clock-started inflation is followed by an effort, and nothing else is. */
static void entrained(void **state) {
    (void)state;
    for (int ratio = 1; ratio <= 3; ratio++) {
        char text[300];
        snprintf(text, sizeof text,
                 "seconds 200\n0 set mode=vc rate_per_min=20 trigger=none drive_per_min=30 "
                 "pmus_cmh2o=6 entrain_ratio=%d entrain_delay_s=0.4 entrain_sd_s=0.03\n",
                 ratio);
        struct run *r = run_script(text);
        const struct truth *t = &r->sim.truth;
        double sum = 0, square = 0;
        size_t n = 0, first = 0, last = 0;
        for (size_t i = 0; i < t->n_efforts; i++) {
            size_t b = 0;
            while (b + 1 < t->n_breaths &&
                   truth_time(t, t->breaths[b + 1].t0) <= t->efforts[i].start_s) {
                b++;
            }
            double delay = t->efforts[i].start_s - truth_time(t, t->breaths[b].t0);
            assert_true(delay > 0.25 && delay < 0.55);
            assert_string_equal(t->breaths[b].kind, "mandatory");
            assert_true(n == 0 || b - last == (size_t)ratio);
            first = n == 0 ? b : first;
            last = b;
            sum += delay;
            square += delay * delay;
            n++;
        }
        assert_true(n >= t->n_breaths / (size_t)ratio - 2);
        assert_int_equal((last - first) / (size_t)ratio + 1, n);
        double mean = sum / (double)n, sd = sqrt(square / (double)n - mean * mean);
        assert_true(fabs(mean - 0.4) < 0.02);
        assert_true(sd > 0.018 && sd < 0.045);
        run_free(r);
    }
}

/* 0.2 to 0.5 s, whatever the breathing does; they are efforts and are told as such. */
static void hiccups(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 300\n0 set mode=pc trigger=none hiccup_per_min=12 hiccup_cmh2o=10\n");
    const struct truth *t = &r->sim.truth;
    assert_true(t->n_efforts > 40 && t->n_efforts < 80);
    for (size_t i = 0; i < t->n_efforts; i++) {
        double long_s = t->efforts[i].end_s - t->efforts[i].start_s;
        assert_true(long_s > 0.19 && long_s < 0.51);
        assert_true(t->efforts[i].peak_cmh2o >= 7 && t->efforts[i].peak_cmh2o <= 13);
    }
    assert_true(run_last(r)->pmus_max >= 0);
    run_free(r);
}

/* Efforts wane to nothing and come back, once a minute; the pauses are silent. */
static void periodic(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 300\n0 set mode=cpap drive_per_min=20 pmus_cv=0 pmus_cmh2o=10 "
                   "wave_s=60 wave_size=1\n");
    const struct truth *t = &r->sim.truth;
    size_t pauses = 0;
    double most = 0, least = 100;
    for (size_t i = 1; i < t->n_efforts; i++) {
        pauses += t->efforts[i].start_s - t->efforts[i - 1].start_s > 8;
        most = fmax(most, t->efforts[i].peak_cmh2o);
        least = fmin(least, t->efforts[i].peak_cmh2o);
    }
    assert_true(pauses >= 4 && pauses <= 6);
    assert_true(most > 9.7 && most < 10.01 && least >= 1.5 && least < 4);
    run_free(r);
}

static void sighs_and_drift(void **state) {
    (void)state;
    struct run *r =
        run_script("seconds 1200\nstep 0.002\n0 set mode=cpap drive_per_min=20 drive_cv=0 "
                   "pmus_cv=0 pmus_cmh2o=8 sigh_per_h=60 drift_cv=0.1\n");
    const struct truth *t = &r->sim.truth;
    size_t sighs = 0;
    double sum = 0, square = 0, along = 0;
    for (size_t i = 2; i < t->n_efforts; i++) {
        double a = log((t->efforts[i].start_s - t->efforts[i - 1].start_s) / 3),
               b = log((t->efforts[i - 1].start_s - t->efforts[i - 2].start_s) / 3);
        sighs += t->efforts[i].peak_cmh2o > 15;
        sum += a;
        square += a * a;
        along += a * b;
    }
    assert_true(sighs >= 10 && sighs <= 33); /* 20 in the mean */
    assert_true(along / square > 0.85);      /* it wanders, it does not jump */
    assert_true(sqrt(square / (double)t->n_efforts) > 0.03);
    assert_true(fabs(sum / (double)t->n_efforts) < 0.15);
    run_free(r);
}

/* A tail that the next effort begins in goes on under it: no step where it starts. */
static void tonic_tail(void **state) {
    (void)state;
    struct run *r = run_script("seconds 30\n0 set mode=cpap drive_per_min=30 drive_cv=0 pmus_cv=0 "
                               "pmus_cmh2o=8 effort_rise_s=0.6 tonic_share=0.5 tonic_s=2\n");
    double last = at_s(r, 5)->pmus;
    for (double t = 5; t < 29; t += r->sim.h_s) {
        double now = at_s(r, t)->pmus;
        assert_true(fabs(now - last) < 0.15);
        assert_true(now > 1);
        last = now;
    }
    run_free(r);
}

/* What is let go before the effort lets gas in early: no fair beginning of a breath. Let go with
 * the effort it has one. */
static void pushes_let_go_early(void **state) {
    (void)state;
    static const double until[] = {0.6, 1};
    for (int k = 0; k < 2; k++) {
        char text[300];
        snprintf(text, sizeof text,
                 "seconds 120\n0 set mode=cpap drive_per_min=12 pmus_cmh2o=8 push_cmh2o=5 "
                 "push_from=0.2 push_to=%g\n",
                 until[k]);
        struct run *r = run_script(text);
        size_t between = 0, scored = 0;
        for (size_t i = 0; i < r->sim.truth.n_breaths; i++) {
            between += strcmp(r->sim.truth.breaths[i].why, "between") == 0;
            scored += r->sim.truth.breaths[i].scored;
        }
        assert_true(k == 0 ? between > 15 && scored < 3 : between == 0 && scored > 15);
        run_free(r);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shapes),
        cmocka_unit_test(double_hump),
        cmocka_unit_test(active_expiration),
        cmocka_unit_test(late_push),
        cmocka_unit_test(entrained),
        cmocka_unit_test(hiccups),
        cmocka_unit_test(periodic),
        cmocka_unit_test(sighs_and_drift),
        cmocka_unit_test(tonic_tail),
        cmocka_unit_test(pushes_let_go_early),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
