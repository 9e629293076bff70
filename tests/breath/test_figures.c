/* Order statistics, noise, base flow and the hinge: against second implementations and known
 * inputs. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdlib.h>
#include <string.h>

#include "analyze/breath/base_flow.h"
#include "analyze/breath/hinge.h"
#include "analyze/breath/noise.h"
#include "analyze/breath/order.h"
#include "analyze/mechanics/lsq.h"

static double uniform(uint64_t *s) {
    *s = *s * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ((double)(*s >> 11) + 0.5) / 9007199254740992.0;
}

/* Box and Muller's transform (from memory). */
static double gauss(uint64_t *s) {
    double u = uniform(s);
    return sqrt(-2 * log(u)) * cos(6.283185307179586 * uniform(s));
}

static int by_value(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void order(void **state) {
    (void)state;
    uint64_t seed = 1;
    double v[101], w[101], sorted[101];
    float f[101];
    for (int round = 0; round < 2000; round++) {
        int n = 1 + (int)(uniform(&seed) * 100);
        double steps = round % 2 ? 5 : 1e9; /* with many equal values, and with none */
        for (int i = 0; i < n; i++) {
            v[i] = floor(uniform(&seed) * steps) - 2;
            f[i] = (float)v[i];
        }
        memcpy(sorted, v, sizeof v);
        qsort(sorted, (size_t)n, sizeof *sorted, by_value);
        int k = (int)(uniform(&seed) * n);
        memcpy(w, v, sizeof v);
        assert_true(order_kth(w, n, k) == sorted[k]);
        double want = n % 2 ? sorted[n / 2] : 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]);
        memcpy(w, v, sizeof v);
        assert_true(order_median(w, n) == want);
        assert_true(order_median_f(f, n) == (float)sorted[n / 2]);
    }
    assert_true(isnan(order_median(v, 0)));
}

/* Noise of known sd, flat and on a ramp. 15 %: of 96 second differences, the sd of the estimate is
 * some 12 %, so the median over 9 windows is judged. */
static void noise_recovered(void **state) {
    (void)state;
    static const double rates[] = {25, 100, 1000};
    for (int k = 0; k < 6; k++) {
        double rate = rates[k / 2], slope = k % 2 ? 2.0 : 0.0, q_sd[9], p_sd[9];
        for (int turn = 0; turn < 9; turn++) {
            uint64_t seed = (uint64_t)(100 * k + turn + 7);
            struct ring r;
            struct noise z;
            assert_int_equal(ring_init(&r, rate, (int64_t)(1.5e9 / rate), 30), TM_OK);
            noise_init(&z, rate, 1);
            for (int i = 0; i < (int)(25 * rate); i++) {
                double t = i / rate;
                ring_push(&r, (int64_t)(t * 1e9), slope * t + 0.3 * gauss(&seed),
                          0.1 * slope * t + 0.02 * gauss(&seed));
                noise_follow(&z, &r);
            }
            q_sd[turn] = z.q_sd_l_s;
            p_sd[turn] = z.p_sd_cmh2o;
            ring_free(&r);
        }
        assert_true(fabs(order_median(q_sd, 9) / 0.02 - 1) < 0.15);
        assert_true(fabs(order_median(p_sd, 9) / 0.3 - 1) < 0.15);
    }
}

/* Of a silent but quantised signal the floor is quantum / sqrt 12 (uniform error; common practice),
 * and the fixed floors of the header where that is smaller. */
static void noise_floors(void **state) {
    (void)state;
    static const double quantum[] = {0.1, 0.0001};
    for (int k = 0; k < 2; k++) {
        struct ring r;
        struct noise z;
        assert_int_equal(ring_init(&r, 100, 15000000, 30), TM_OK);
        noise_init(&z, 100, 1);
        for (int i = 0; i < 3000; i++) {
            double step = (i / 700) * quantum[k];
            ring_push(&r, i * INT64_C(10000000), step, step);
            noise_follow(&z, &r);
        }
        assert_true(z.q_sd_l_s >= 0.002 - 1e-12 && z.p_sd_cmh2o >= 0.02 - 1e-12);
        assert_true(z.q_sd_l_s <= fmax(0.002, quantum[k] / sqrt(12)) + 1e-9);
        ring_free(&r);
    }
}

/* Breaths of 3 s at a mean of sqrt(p) 3: a leak k lets k x 9 L out. */
static void base(void **state) {
    (void)state;
    struct base_flow b;
    base_flow_init(&b, 1);
    for (int i = 1; i <= 30; i++) {
        base_flow_breath(&b, 0.01 * 9, 0.5, 9, 3, i * 3 * NS_PER_S);
    }
    assert_true(fabs(b.k - 0.01) < 1e-9);
    assert_true(fabs(base_flow_at(&b, 9) - 0.03) < 1e-9);
    assert_true(base_flow_at(&b, -4) == 0);
    double k = b.k;
    for (int i = 31; i <= 33;
         i++) { /* open circuit: everything stays outside; such a run is left out */
        base_flow_breath(&b, 0.5, 0.5, 9, 3, i * 3 * NS_PER_S);
    }
    assert_true(fabs(b.k - k) < 1e-3);

    base_flow_init(&b, 1);
    for (int i = 1; i <= 30; i++) { /* offset of -0.02 L/s: 60 mL out on balance */
        base_flow_breath(&b, -0.06, 0.5, 9, 3, i * 3 * NS_PER_S);
    }
    assert_true(b.k == 0 && fabs(b.constant + 0.02) < 1e-9);
    assert_true(fabs(base_flow_at(&b, 20) + 0.02) < 1e-9);
}

/* One joint by least squares: y = a + b x + c max(x - joint, 0). */
static double rss_at(const double *y, int n, double dx, int joint) {
    double a[60 * 4];
    for (int i = 0; i < n; i++) {
        a[4 * i] = 1;
        a[4 * i + 1] = i * dx;
        a[4 * i + 2] = i > joint ? (i - joint) * dx : 0;
        a[4 * i + 3] = y[i];
    }
    struct lsq_fit fit;
    assert_int_equal(lsq_solve(a, n, 3, 1e12, &fit), TM_OK);
    return fit.rss;
}

static void hinge(void **state) {
    (void)state;
    uint64_t seed = 5;
    double y[60];
    struct hinge h;
    for (int i = 0; i < 60; i++) {
        y[i] = 1 - 0.5 * i * 0.01 + (i > 37 ? 4 * (i - 37) * 0.01 : 0);
    }
    assert_true(hinge_fit(y, 60, 0.01, &h));
    assert_int_equal(h.at, 37);
    assert_true(fabs(h.before + 0.5) < 1e-9 && fabs(h.after - 3.5) < 1e-9 && h.rss < 1e-12);
    for (int round = 0; round < 50; round++) {
        for (int i = 0; i < 60; i++) {
            y[i] = 1 - 0.5 * i * 0.01 + (i > 30 ? 4 * (i - 30) * 0.01 : 0) + 0.1 * gauss(&seed);
        }
        assert_true(hinge_fit(y, 60, 0.01, &h));
        double least = INFINITY;
        for (int j = 2; j <= 57; j++) {
            least = fmin(least, rss_at(y, 60, 0.01, j));
        }
        assert_true(fabs(rss_at(y, 60, 0.01, h.at) / h.rss - 1) < 1e-9);
        assert_true(h.rss <= least * (1 + 1e-9));
    }
}

/* A leak seen at once: an orifice's flow at the pressure it was seen at and, by Bernoulli, at others; three
 * breaths that give all back take it away again. */
static void standing_flow(void **state) {
    (void)state;
    struct base_flow b;
    base_flow_init(&b, 1);
    base_flow_stood(&b, 0.06, 4);
    assert_true(fabs(base_flow_at(&b, 4) - 0.06) < 1e-12);
    assert_true(fabs(base_flow_at(&b, 9) - 0.09) < 1e-12);
    assert_true(base_flow_at(&b, 100) <= 0.3);
    base_flow_stood(&b, 0.2, 0.5); /* an orifice lets nothing through without pressure */
    assert_true(fabs(base_flow_at(&b, 4) - 0.06) < 1e-12);
    for (int i = 0; i < 3; i++) {
        base_flow_breath(&b, 0, 0.4, 2 * 3, 3, (int64_t)(i + 1) * 3000000000);
    }
    assert_true(base_flow_at(&b, 4) == 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(order), cmocka_unit_test(noise_recovered),
                                       cmocka_unit_test(noise_floors), cmocka_unit_test(base),
                                       cmocka_unit_test(hinge),
                                       cmocka_unit_test(standing_flow)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
