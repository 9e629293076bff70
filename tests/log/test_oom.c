/* Every allocation is made to fail once, in turn: a clean error, no leak, and what was written stays a valid prefix.
 * malloc, calloc and realloc are wrapped at link time; zlib and libdeflate, being shared libraries, allocate past it. */
#include "tests/log/kit.h"

#include "ingest/log/log_index.h"
#include "ingest/log/log_read.h"
#include "ingest/log/log_recover.h"

#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void *__real_malloc(size_t n);
void *__real_calloc(size_t k, size_t n);
void *__real_realloc(void *p, size_t n);
void __real_free(void *p);
void *__wrap_malloc(size_t n);
void *__wrap_calloc(size_t k, size_t n);
void *__wrap_realloc(void *p, size_t n);
void __wrap_free(void *p);

/* The hooks have no argument to carry a state in. */
static struct {
    bool armed;
    long seen, fail_at, live;
} heap;

static bool fails(void)
{
    return heap.armed && heap.seen++ == heap.fail_at;
}

void *__wrap_malloc(size_t n)
{
    void *p = fails() ? NULL : __real_malloc(n);
    heap.live += heap.armed && p;
    return p;
}

void *__wrap_calloc(size_t k, size_t n)
{
    void *p = fails() ? NULL : __real_calloc(k, n);
    heap.live += heap.armed && p;
    return p;
}

void *__wrap_realloc(void *p, size_t n)
{
    void *q = fails() ? NULL : __real_realloc(p, n);
    heap.live += heap.armed && q && !p;
    return q;
}

void __wrap_free(void *p)
{
    heap.live -= heap.armed && p;
    __real_free(p);
}

static int count_bytes(void *user, const void *data, size_t n)
{
    size_t *total = user;
    (void)data;
    *total += n;
    return TM_OK;
}

static int write_scenario(const char *path)
{
    static struct sample_block b;
    struct recording_info in = plain_info();
    size_t total = 0;
    struct log_writer *w;
    struct log_write_opts o = {.write = count_bytes, .user = &total};
    struct err e;
    (void)path;
    int rc = log_writer_new(&w, &in, &o, &e);
    if (rc != TM_OK)
        return rc;
    b.channels = 3;
    b.n = 1000;
    for (size_t i = 0; i < b.n; i++)
        b.t_ns[i] = (int64_t)i * 10000000;
    rc = log_write_samples(w, &b);
    if (rc == TM_OK)
        rc = log_write_close(w);
    log_writer_destroy(w);
    return rc;
}

static int read_scenario(const char *path)
{
    struct bytes *b;
    void *self;
    const struct source_ops *ops;
    struct err e;
    struct item it;
    int rc = bytes_open(&b, path, NULL, &e);
    if (rc != TM_OK)
        return rc;
    rc = log_reader_new(&self, &ops, b, path, NULL, &e);
    if (rc == TM_OK) {
        enum src_rc s;
        while ((s = ops->next(self, &it, &e)) == SRC_ITEM)
            continue;
        rc = s == SRC_END ? TM_OK : TM_ERR_MEMORY;
        ops->close(self);
    }
    bytes_close(b);
    return rc;
}

static int recover_scenario(const char *path)
{
    size_t total = 0;
    struct recover_report report;
    struct err e;
    return log_recover(path, count_bytes, &total, &report, NULL, &e);
}

static int index_scenario(const char *path)
{
    struct log_index x;
    struct err e;
    int rc = log_index_build(&x, path, NULL, &e);
    log_index_free(&x);
    return rc;
}

static long torture(int (*scenario)(const char *), const char *path)
{
    for (long n = 0;; n++) {
        heap.fail_at = n;
        heap.seen = 0;
        heap.live = 0;
        heap.armed = true;
        int rc = scenario(path);
        heap.armed = false;
        assert_int_equal(heap.live, 0);
        if (rc == TM_OK)
            return n;
        assert_true(rc == TM_ERR_MEMORY || rc == TM_ERR_SYSTEM);
        assert_true(n < 1000);
    }
}

static void each_allocation(void **state)
{
    (void)state;
    static const char *const files[] = {"fixtures/log/good/members.log.gz", "fixtures/log/bad/damaged-middle.log.gz",
                                        "fixtures/log/good/plain.log"};
    assert_true(torture(write_scenario, "") >= 1);
    for (size_t i = 0; i < 3; i++) {
        assert_true(torture(read_scenario, files[i]) >= 3);
        assert_true(torture(recover_scenario, files[i]) >= 3);
        assert_true(torture(index_scenario, files[i]) >= 2);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(each_allocation)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
