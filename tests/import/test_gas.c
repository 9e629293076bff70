/* Gas conditions. Handbook column: the ATPS-to-BTPS factors that handbooks of lung function print, 20 to 37 C,
 * 760 mmHg (from memory; tolerance 0.001). The other columns were computed there from the international
 * steam-table equation for water vapour, another formula than ours: tolerance 0.001 too. */
#include "ingest/gas.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#define N(a)     (sizeof(a) / sizeof(a)[0])
#define MMHG_HPA 1.33322387415
#define SEA_HPA  1013.25

static double factor(const char *condition, double t, double p)
{
    double f = -1;
    struct err e;
    assert_int_equal(gas_factor_to_btps(condition, t, p, &f, &e), TM_OK);
    return f;
}

static void near(double got, double want, double within, double t)
{
    if (!(fabs(got - want) <= within))
        fail_msg("%.6f is not %.6f at %.1f C", got, want, t);
}

static void handbook(void **state)
{
    (void)state;
    static const double table[][4] = {
        /* C, handbook ATPS, computed ATPS, computed ATPD */
        {20, 1.102, 1.10170, 1.12773}, {21, 1.096, 1.09630, 1.12390}, {22, 1.091, 1.09085, 1.12009},
        {23, 1.085, 1.08534, 1.11631}, {24, 1.080, 1.07977, 1.11255}, {25, 1.075, 1.07413, 1.10882},
        {30, 1.045, 1.04483, 1.09053}, {34, 1.020, 1.01977, 1.07633}, {37, 1.000, 0.99983, 1.06592},
    };
    for (size_t i = 0; i < N(table); i++) {
        double t = table[i][0], atps = factor("ATPS", t, SEA_HPA);
        near(atps, table[i][1], 0.001, t);
        near(atps, table[i][2], 0.0005, t);
        near(factor("ATPD", t, SEA_HPA), table[i][3], 0.0005, t);
    }
}

static void vapour(void **state)
{
    (void)state;
    /* Steam-table values, hPa. */
    static const double table[][2] = {{20, 23.392}, {25, 31.697}, {30, 42.467}, {34, 53.247}, {37, 62.818}};
    for (size_t i = 0; i < N(table); i++)
        near(gas_water_hpa(table[i][0]) / table[i][1], 1, 0.004, table[i][0]);
    near(gas_water_hpa(37) / MMHG_HPA, 47, 0.1, 37); /* the customary 47 mmHg */
}

static void barometer(void **state)
{
    (void)state;
    /* Altitude, 630 mmHg, 20 C; 730 mmHg at 20 C. */
    near(factor("ATPS", 20, 630 * MMHG_HPA), 1.11144, 0.001, 20);
    near(factor("ATPD", 20, 630 * MMHG_HPA), 1.14328, 0.001, 20);
    near(factor("ATPS", 20, 730 * MMHG_HPA), 1.10362, 0.001, 20);
    /* STPD at sea level: the inverse of 0.8262384; at 850 hPa 1.461, at 950 hPa 1.297. */
    near(factor("STPD", 20, SEA_HPA), 1.2103045, 0.001, 0);
    near(factor("STPD", 20, 950), 1.297, 0.001, 0);
    near(factor("STPD", 20, 850), 1.461, 0.0015, 0);
    near(factor("BTPS", 20, 850), 1, 0, 20);
    near(factor("ATPS", 37, 901), 1, 1e-12, 37); /* body conditions already, whatever the barometer */
}

static void refusals(void **state)
{
    (void)state;
    double f;
    struct err e;
    assert_int_equal(gas_factor_to_btps("NTPD", 20, SEA_HPA, &f, &e), TM_ERR_USAGE);
    assert_int_equal(gas_factor_to_btps("ATPS", 60, SEA_HPA, &f, &e), TM_ERR_USAGE);
    assert_int_equal(gas_factor_to_btps("ATPS", (double)NAN, SEA_HPA, &f, &e), TM_ERR_USAGE);
    assert_int_equal(gas_factor_to_btps("ATPS", 20, 760, &f, &e), TM_OK); /* hPa: an altitude of 2400 m */
    assert_int_equal(gas_factor_to_btps("ATPS", 20, 101.3, &f, &e), TM_ERR_USAGE); /* kPa by mistake */
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(handbook), cmocka_unit_test(vapour),
                                       cmocka_unit_test(barometer), cmocka_unit_test(refusals)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
