/* Memory is taken by engine_new alone, and each refusal of it is told and leaves nothing behind.
 * Linked with
 * --wrap=malloc,calloc,realloc,free. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "tests/engine/lung.h"

void *__real_malloc(size_t n);
void *__real_calloc(size_t n, size_t size);
void *__real_realloc(void *p, size_t n);
void __real_free(void *p);
void *__wrap_malloc(size_t n);
void *__wrap_calloc(size_t n, size_t size);
void *__wrap_realloc(void *p, size_t n);
void __wrap_free(void *p);

static int taken, held,
    refuse_at; /* allocations so far, not yet given back; the one to refuse, 0: none */
static struct collected got;

static bool refused(void) {
    return ++taken == refuse_at;
}

static void *count(void *p) {
    held += p != NULL;
    return p;
}

void *__wrap_malloc(size_t n) {
    return refused() ? NULL : count(__real_malloc(n));
}

void *__wrap_calloc(size_t n, size_t size) {
    return refused() ? NULL : count(__real_calloc(n, size));
}

void *__wrap_realloc(void *p, size_t n) {
    if (refused()) {
        return NULL;
    }
    void *to = __real_realloc(p, n);
    held += to != NULL && p == NULL;
    return to;
}

void __wrap_free(void *p) {
    held -= p != NULL;
    __real_free(p);
}

static void ventilated(const void *user, double t, double *p, double *q) {
    const struct lung *l = user;
    lung_at(l, fmod(t, lung_cycle_s(l)), p, q);
}

static void none_while_running(void **state) {
    (void)state;
    struct engine *e;
    struct recording_info info;
    rig_info(&info, 100, PATIENT_UNKNOWN); /* two sizes side by side in the first minute */
    int before = held;
    assert_int_equal(rig_new(&e, &got, &info), TM_OK);
    assert_true(held > before);
    int after_new = taken;
    assert_int_equal(rig_feed(e, &got, 100, 0, 300, ventilated, &lungs[0]), TM_OK);
    assert_int_equal(engine_end(e), TM_OK);
    assert_int_equal(taken, after_new);
    assert_true(got.rows > 90);
    engine_destroy(e);
    assert_int_equal(held, before);
}

static void each_refused(void **state) {
    (void)state;
    struct recording_info info;
    rig_info(&info, 100, PATIENT_UNKNOWN);
    for (int k = 1;; k++) {
        struct engine *e = NULL;
        int before = held;
        refuse_at = taken + k;
        int rc = rig_new(&e, &got, &info);
        bool reached = taken >= refuse_at;
        refuse_at = 0;
        if (!reached) { /* every allocation has had its turn */
            assert_int_equal(rc, TM_OK);
            engine_destroy(e);
            assert_int_equal(held, before);
            assert_true(k > 3);
            return;
        }
        assert_int_equal(rc, TM_ERR_MEMORY);
        assert_int_equal(held, before);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(none_while_running),
                                       cmocka_unit_test(each_refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
