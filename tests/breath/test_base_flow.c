/* What is taken for leak, by hand-made flows. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "analyze/breath/base_flow.h"

/* A stretch without breaths at a mean of 0.1 L/s and 4 cmH2O: an orifice of 0.05 L/s per sqrt(cmH2O) (Bernoulli), whatever
 * was believed; the runs from before are forgotten. */
static void renewed_from_a_mean(void **state) {
    (void)state;
    struct base_flow b;
    base_flow_init(&b, 1);
    base_flow_stood(&b, 0.28, 4);
    assert_float_equal(base_flow_at(&b, 4), 0.28, 1e-12);
    base_flow_renew(&b, 0.1, 2);
    assert_float_equal(base_flow_at(&b, 4), 0.1, 1e-12);
    assert_float_equal(base_flow_at(&b, 16), 0.2, 1e-12);
    assert_float_equal(base_flow_at(&b, -1), 0, 0);
    assert_int_equal(b.n_run, 0);
}

/* Gas that comes out on balance is a constant, and never more than 0.3 L/s. */
static void outward_is_constant(void **state) {
    (void)state;
    struct base_flow b;
    base_flow_init(&b, 1);
    base_flow_renew(&b, -0.05, 2);
    assert_float_equal(base_flow_at(&b, 4), -0.05, 1e-12);
    assert_float_equal(base_flow_at(&b, 25), -0.05, 1e-12);
    base_flow_renew(&b, -2, 2);
    assert_float_equal(base_flow_at(&b, 4), -0.3, 1e-12);
    base_flow_renew(&b, 2, 2);
    assert_float_equal(base_flow_at(&b, 4), 0.3, 1e-12);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(renewed_from_a_mean), cmocka_unit_test(outward_is_constant)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
