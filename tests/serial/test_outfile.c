/* The growing file under faults: every call that can fail is made to, and what stands in the file is always
 * a whole number of pieces. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

#include "ingest/serial/outfile.h"

/* Call number `at` of the kind fails with `number`, and the `count - 1` after it. */
struct fault {
    int seen, at, count, number;
    size_t short_by; /* pwrite: instead of failing, write this many bytes only ... */
    int then;        /* ... and fail all further calls so; 0: go on */
};
static struct fault on_pwrite, on_sync, on_truncate, on_fsync;

ssize_t __real_pwrite64(int fd, const void *buf, size_t n, off_t at);
ssize_t __wrap_pwrite64(int fd, const void *buf, size_t n, off_t at);
int __real_fdatasync(int fd);
int __wrap_fdatasync(int fd);
int __real_ftruncate64(int fd, off_t n);
int __wrap_ftruncate64(int fd, off_t n);
int __real_fsync(int fd);
int __wrap_fsync(int fd);

static int strikes(struct fault *f)
{
    const int i = f->seen++;
    if (f->count == 0 || i < f->at || i >= f->at + f->count)
        return 0;
    errno = f->number;
    return 1;
}

ssize_t __wrap_pwrite64(int fd, const void *buf, size_t n, off_t at)
{
    if (on_pwrite.then && on_pwrite.seen > on_pwrite.at) {
        errno = on_pwrite.then;
        return -1;
    }
    if (!strikes(&on_pwrite))
        return __real_pwrite64(fd, buf, n, at);
    if (on_pwrite.short_by == 0)
        return -1;
    return __real_pwrite64(fd, buf, n < on_pwrite.short_by ? n : on_pwrite.short_by, at);
}

int __wrap_fdatasync(int fd)
{
    return strikes(&on_sync) ? -1 : __real_fdatasync(fd);
}

int __wrap_ftruncate64(int fd, off_t n)
{
    return strikes(&on_truncate) ? -1 : __real_ftruncate64(fd, n);
}

int __wrap_fsync(int fd)
{
    return strikes(&on_fsync) ? -1 : __real_fsync(fd);
}

static char folder[64], path[96];

static int setup(void **state)
{
    (void)state;
    memset(&on_pwrite, 0, sizeof on_pwrite);
    memset(&on_sync, 0, sizeof on_sync);
    memset(&on_truncate, 0, sizeof on_truncate);
    memset(&on_fsync, 0, sizeof on_fsync);
    (void)snprintf(folder, sizeof folder, "/tmp/tidemark-outfile-XXXXXX");
    if (!mkdtemp(folder))
        return -1;
    (void)snprintf(path, sizeof path, "%s/night.log", folder);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    (void)unlink(path);
    return rmdir(folder);
}

static void file_holds(const char *text)
{
    char buf[256];
    const int fd = open(path, O_RDONLY);
    assert_true(fd >= 0);
    const ssize_t n = read(fd, buf, sizeof buf - 1);
    assert_true(n >= 0);
    buf[n] = '\0';
    assert_int_equal(close(fd), 0);
    assert_string_equal(buf, text);
}

static struct outfile *create(void)
{
    struct outfile *f = NULL;
    struct err e;
    assert_int_equal(outfile_create(&f, path, &e), TM_OK);
    return f;
}

static void pieces_reach_the_file(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = create();
    assert_int_equal(outfile_add(f, "one ", 4), TM_OK);
    file_holds("");
    assert_int_equal(outfile_waiting(f), 4);
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    file_holds("one ");
    assert_int_equal(outfile_commit(f, &e), TM_OK); /* nothing waits: nothing happens */
    assert_int_equal(on_sync.seen, 1);
    assert_int_equal(outfile_good(f), 4);
    assert_int_equal(outfile_close(f, &e), TM_OK);
    struct stat st;
    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 077, 0); /* for its owner alone */
}

static void never_over_a_file(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = create();
    assert_int_equal(outfile_add(f, "night", 5), TM_OK);
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    assert_int_equal(outfile_close(f, &e), TM_OK);
    struct outfile *again = NULL;
    assert_int_equal(outfile_create(&again, path, &e), TM_ERR_SYSTEM);
    assert_int_equal(e.sys_errno, EEXIST);
    assert_non_null(strstr(e.mend, "another name"));
    assert_null(again);
    file_holds("night");
}

static void a_full_disk_is_cut_back_and_tried_again(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = create();
    assert_int_equal(outfile_add(f, "good ", 5), TM_OK);
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    assert_int_equal(outfile_add(f, "second", 6), TM_OK);
    on_pwrite = (struct fault){.at = 0, .count = 1, .short_by = 3};
    assert_int_equal(outfile_commit(f, &e), TM_OK); /* a short write alone is no fault: it goes on */
    file_holds("good second");
    for (int k = 0; k < 5; k++) {
        assert_int_equal(outfile_add(f, "x", 1), TM_OK);
        on_pwrite = (struct fault){.at = 0, .count = 1, .number = ENOSPC};
        assert_int_equal(outfile_commit(f, &e), TM_ERR_SYSTEM);
        assert_int_equal(e.sys_errno, ENOSPC);
        file_holds("good second");
        assert_int_equal(outfile_waiting(f), (size_t)k + 1);
    }
    on_pwrite.count = 0;
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    file_holds("good secondxxxxx");
    assert_int_equal(outfile_close(f, &e), TM_OK);
}

/* Half of a piece is written and then the disk is full: the half is cut off. */
static void half_a_piece_is_cut_off(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = create();
    assert_int_equal(outfile_add(f, "good ", 5), TM_OK);
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    assert_int_equal(outfile_add(f, "second", 6), TM_OK);
    on_pwrite = (struct fault){.at = 0, .count = 1, .short_by = 3, .then = ENOSPC};
    assert_int_equal(outfile_commit(f, &e), TM_ERR_SYSTEM);
    assert_int_equal(e.sys_errno, ENOSPC);
    assert_int_equal(on_truncate.seen, 1);
    file_holds("good ");
    /* Even the cutting fails: the next try starts at the good length all the same. */
    on_pwrite = (struct fault){.at = 0, .count = 1, .short_by = 3, .then = ENOSPC};
    on_truncate = (struct fault){.at = 0, .count = 1, .number = EIO};
    assert_int_equal(outfile_commit(f, &e), TM_ERR_SYSTEM);
    file_holds("good sec");
    on_pwrite = (struct fault){.at = 0};
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    file_holds("good second");
    assert_int_equal(outfile_close(f, &e), TM_OK);
}

/* After a failed sync the bytes are written anew, not only synced again. */
static void an_unconfirmed_piece_is_written_again(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = create();
    assert_int_equal(outfile_add(f, "piece", 5), TM_OK);
    on_sync = (struct fault){.at = 0, .count = 1, .number = EIO};
    assert_int_equal(outfile_commit(f, &e), TM_ERR_SYSTEM);
    assert_int_equal(e.sys_errno, EIO);
    assert_int_equal(outfile_good(f), 0);
    assert_int_equal(outfile_waiting(f), 5);
    const int before = on_pwrite.seen;
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    assert_int_equal(on_pwrite.seen, before + 1);
    assert_int_equal(outfile_good(f), 5);
    file_holds("piece");
    assert_int_equal(outfile_close(f, &e), TM_OK);
}

static void interrupts_are_no_faults(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = create();
    assert_int_equal(outfile_add(f, "piece", 5), TM_OK);
    on_pwrite = (struct fault){.at = 0, .count = 3, .number = EINTR};
    on_sync = (struct fault){.at = 0, .count = 3, .number = EINTR};
    assert_int_equal(outfile_commit(f, &e), TM_OK);
    file_holds("piece");
    assert_int_equal(outfile_close(f, &e), TM_OK);
}

static void what_waits_has_a_ceiling(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = create();
    static char megabyte[1u << 20];
    int taken = 0;
    while (outfile_add(f, megabyte, sizeof megabyte) == TM_OK)
        taken++;
    assert_int_equal(taken, OUTFILE_WAITING_MAX >> 20);
    assert_int_equal(outfile_close(f, &e), TM_OK);
    file_holds("");
}

static void a_folder_that_does_not_sync_leaves_no_file(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = NULL;
    on_fsync = (struct fault){.at = 0, .count = 1, .number = EIO};
    assert_int_equal(outfile_create(&f, path, &e), TM_ERR_SYSTEM);
    assert_null(f);
    assert_int_equal(access(path, F_OK), -1);
    on_fsync = (struct fault){.at = 0, .count = 1, .number = EINVAL}; /* a file system without it */
    f = create();
    assert_int_equal(outfile_close(f, &e), TM_OK);
}

static void no_such_folder(void **state)
{
    (void)state;
    struct err e;
    struct outfile *f = NULL;
    assert_int_equal(outfile_create(&f, "/nonexistent/night.log.gz", &e), TM_ERR_SYSTEM);
    assert_int_equal(e.sys_errno, ENOENT);
    assert_int_equal(outfile_close(NULL, &e), TM_OK);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
        T(pieces_reach_the_file),    T(never_over_a_file),
        T(a_full_disk_is_cut_back_and_tried_again),
        T(half_a_piece_is_cut_off),  T(an_unconfirmed_piece_is_written_again), T(interrupts_are_no_faults),
        T(what_waits_has_a_ceiling), T(a_folder_that_does_not_sync_leaves_no_file),
        T(no_such_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
