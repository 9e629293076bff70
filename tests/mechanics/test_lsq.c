/* Least squares against values from outside: NIST's certified regressions, a worked equation of motion, closed
 * forms of whole breaths, and the cases in which nothing can be told. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>

#include "analyze/mechanics/lsq.h"
#include "tests/mechanics/reference_data.h"

#define NO_LIMIT 1e18

static void near_to(double got, double want, double relative)
{
    if (!(fabs(got - want) <= relative * fabs(want))) {
        fail_msg("%.17g is not %.17g within %g", got, want, relative);
    }
}

/* Raw normal equations reach 4e-8 here, so 1e-9 tells a good method from a bad one. */
static void nist_longley(void **state)
{
    (void)state;
    double a[16 * 8];
    for (int i = 0; i < 16; i++) {
        double *row = a + i * 8;
        row[0] = 1;
        for (int j = 1; j < 6; j++) {
            row[j] = longley[i][j];
        }
        row[6] = 1947 + i;
        row[7] = longley[i][0];
    }
    struct lsq_fit fit;
    assert_int_equal(lsq_solve(a, 16, 7, NO_LIMIT, &fit), TM_OK);
    for (int j = 0; j < 7; j++) {
        near_to(fit.x[j], longley_b[j], 1e-9);
        near_to(fit.se[j], longley_se[j], 1e-9);
    }
    near_to(fit.sd, longley_sd, 1e-9);
    near_to(fit.rss, longley_rss, 1e-9);
}

static void nist_norris(void **state)
{
    (void)state;
    double a[36 * 3];
    for (int i = 0; i < 36; i++) {
        a[3 * i] = 1;
        a[3 * i + 1] = norris[i][1];
        a[3 * i + 2] = norris[i][0];
    }
    struct lsq_fit fit;
    assert_int_equal(lsq_solve(a, 36, 2, NO_LIMIT, &fit), TM_OK);
    near_to(fit.x[0], -0.262323073774029, 1e-11);
    near_to(fit.x[1], 1.00211681802045, 1e-13);
    near_to(fit.se[0], 0.232818234301152, 1e-12);
    near_to(fit.se[1], 0.000429796848199937, 1e-12);
    near_to(fit.sd, 0.884796396144373, 1e-12);
}

static void nist_noint1(void **state)
{
    (void)state;
    double a[11 * 2], yy = 0;
    for (int i = 0; i < 11; i++) {
        a[2 * i] = 60 + i;
        a[2 * i + 1] = 130 + i;
        yy += (130.0 + i) * (130.0 + i);
    }
    struct lsq_fit fit;
    assert_int_equal(lsq_solve(a, 11, 1, NO_LIMIT, &fit), TM_OK);
    near_to(fit.x[0], 2.07438016528926, 1e-13);
    near_to(fit.se[0], 0.0165289256198347, 1e-12);
    near_to(fit.sd, 3.56753034006338, 1e-12);
    near_to(1 - fit.rss / yy, 0.999365492298663, 1e-14); /* without a constant R2 is counted from zero */
}

/* P = E V + R F + P0 on 16 printed points. Values: exact rational arithmetic, and SciPy. */
static void equation_of_motion(void **state)
{
    (void)state;
    static const double f[16] = {0.297, 0.637, 0.665, 0.616, 0.554, 0.493, 0.438, 0.388,
                                 0.345, 0.306, 0.271, 0.240, 0.213, 0.189, 0.168, 0.149};
    static const double v[16] = {0.0000, 0.0280, 0.0671, 0.1055, 0.1406, 0.1720, 0.2000, 0.2247,
                                 0.2467, 0.2663, 0.2836, 0.2989, 0.3125, 0.3245, 0.3353, 0.3448};
    static const double p[16] = {9.62,  14.26, 15.85, 16.21, 16.41, 16.35, 16.16, 16.36,
                                 16.25, 16.19, 16.07, 16.53, 16.31, 16.37, 16.71, 16.94};
    double a[16 * 4], mean = 0, total = 0;
    for (int i = 0; i < 16; i++) {
        a[4 * i] = v[i];
        a[4 * i + 1] = f[i];
        a[4 * i + 2] = 1;
        a[4 * i + 3] = p[i];
        mean += p[i] / 16;
    }
    for (int i = 0; i < 16; i++) {
        total += (p[i] - mean) * (p[i] - mean);
    }
    struct lsq_fit fit;
    assert_int_equal(lsq_solve(a, 16, 3, NO_LIMIT, &fit), TM_OK);
    near_to(fit.x[0], 25.18840187, 2e-10);
    near_to(fit.x[1], 12.03702646, 4e-10);
    near_to(fit.x[2], 6.021703038, 2e-10);
    near_to(fit.se[0], 0.8060323290, 2e-10);
    near_to(fit.se[1], 0.5206817449, 2e-10);
    near_to(fit.se[2], 0.3480938452, 2e-10);
    near_to(fit.rss, 0.5932941134, 2e-10);
    near_to(fit.sd, 0.2136305426, 2e-10);
    near_to(1 - fit.rss / total, 0.9869670836, 1e-10);
    near_to(1000 / fit.x[0], 39.70081172, 1e-9);
    /* Of the columns scaled to unit norm, by SciPy's singular values; unscaled it would be 19.962980. */
    near_to(fit.condition, 13.385271583217715, 1e-7);
}

/* A steady-state breath without noise, samples at mid-interval; volume from the breath's own start. */
struct breath {
    double e, r, peep, ti, te;
    double flow; /* L/s: volume control, square flow; 0: pressure control by dp */
    double dp;
};

struct point {
    double v, q, p;
};

static struct point breath_at(const struct breath *b, double t)
{
    double tau = b->r / b->e, out = exp(-b->te / tau), in = exp(-b->ti / tau);
    struct point s;
    double trapped, end; /* volume above the level of PEEP at the start, and at the end of inspiration */
    if (b->flow > 0) {
        trapped = b->flow * b->ti * out / (1 - out);
        end = trapped + b->flow * b->ti;
        s.q = b->flow;
        s.v = b->flow * t;
        s.p = b->peep + b->e * (trapped + s.v) + b->r * s.q;
    } else {
        double full = b->dp / b->e;
        trapped = full * (1 - in) * out / (1 - in * out);
        end = full + (trapped - full) * in;
        double above = full + (trapped - full) * exp(-t / tau);
        s.q = (b->dp - b->e * above) / b->r;
        s.v = above - trapped;
        s.p = b->peep + b->dp;
    }
    if (t >= b->ti) {
        double above = end * exp(-(t - b->ti) / tau);
        s.q = -above / tau;
        s.v = above - trapped;
        s.p = b->peep;
    }
    return s;
}

/* Fits from..to (s) of the breath at 100 Hz. */
static int fit_breath(const struct breath *b, double from, double to, double limit, struct lsq_fit *fit)
{
    double a[600 * 4];
    int n = 0;
    for (int k = 0; k < 600; k++) {
        double t = (k + 0.5) / 100;
        if (t < from || t > to) {
            continue;
        }
        struct point s = breath_at(b, t);
        double *row = a + 4 * n++;
        row[0] = s.v;
        row[1] = s.q;
        row[2] = 1;
        row[3] = s.p;
    }
    return lsq_solve(a, n, 3, limit, fit);
}

static const struct breath v1 = {20, 10, 5, 1.0, 2.0, 0.5, 0};
static const struct breath v3 = {1000.0 / 60, 20, 5, 1.0, 2.0, 0.5, 0};
static const struct breath p1 = {20, 10, 5, 1.0, 2.0, 0, 15};
static const struct breath p3 = {1000.0 / 60, 25, 5, 1.0, 1.5, 0, 20};

/* With volume counted from the breath's start the intercept is total PEEP: closed form of the steady state, itself
 * checked against an integration of 80 breaths. */
static void whole_breaths(void **state)
{
    (void)state;
    static const struct {
        const struct breath *b;
        double p0;
    } rows[] = {{&v1, 5.18657360}, {&v3, 6.94047098}, {&p1, 5.23814360}, {&p3, 9.41372098}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct lsq_fit fit;
        assert_int_equal(fit_breath(rows[i].b, 0, rows[i].b->ti + rows[i].b->te, 30, &fit), TM_OK);
        near_to(fit.x[0], rows[i].b->e, 1e-10);
        near_to(fit.x[1], rows[i].b->r, 1e-10);
        near_to(fit.x[2], rows[i].p0, 2e-9);
        assert_true(fit.condition > 1 && fit.condition < 5);
    }
}

/* Two columns in one line: the fit says so and gives no numbers. */
static void not_identifiable(void **state)
{
    (void)state;
    struct lsq_fit fit;
    assert_int_equal(fit_breath(&v1, 0, v1.ti, 1e8, &fit), TM_ERR_INPUT); /* flow is constant */
    assert_true(fit.condition > 1e12);
    assert_true(fit.x[0] == 0 && fit.x[1] == 0 && fit.x[2] == 0);
    assert_int_equal(fit_breath(&p1, 0, p1.ti, 1e8, &fit), TM_ERR_INPUT); /* V + R C F is constant */
    assert_true(fit.condition > 1e12);
    assert_int_equal(fit_breath(&v1, v1.ti, v1.ti + v1.te, 1e8, &fit), TM_ERR_INPUT); /* F = -V/tau */
    assert_true(fit.condition > 1e12);
}

static void hostile(void **state)
{
    (void)state;
    struct lsq_fit fit;
    double zero[8] = {0, 1, 0, 1, 0, 2, 0, 3};
    assert_int_equal(lsq_solve(zero, 4, 1, NO_LIMIT, &fit), TM_ERR_INPUT);
    assert_true(isinf(fit.condition));
    double nan[4] = {1, 2, NAN, 3};
    assert_int_equal(lsq_solve(nan, 2, 1, NO_LIMIT, &fit), TM_ERR_INPUT);
    double inf[4] = {1, 2, INFINITY, 3};
    assert_int_equal(lsq_solve(inf, 2, 1, NO_LIMIT, &fit), TM_ERR_INPUT);
    double few[3] = {1, 2, 3};
    assert_int_equal(lsq_solve(few, 1, 2, NO_LIMIT, &fit), TM_ERR_INPUT);
    double exact[6] = {1, 0, 4, 0, 2, 6}; /* as many rows as unknowns: no degree of freedom */
    assert_int_equal(lsq_solve(exact, 2, 2, NO_LIMIT, &fit), TM_OK);
    near_to(fit.x[0], 4, 1e-15);
    near_to(fit.x[1], 3, 1e-15);
    assert_true(isnan(fit.sd) && isnan(fit.se[0]));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nist_longley),       cmocka_unit_test(nist_norris),   cmocka_unit_test(nist_noint1),
        cmocka_unit_test(equation_of_motion), cmocka_unit_test(whole_breaths), cmocka_unit_test(not_identifiable),
        cmocka_unit_test(hostile)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
