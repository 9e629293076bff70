/* What is on the disk when the power goes, or the disk is full.
 *
 * The recorder runs on a scripted port and a virtual clock. The file's length is noted at each fdatasync: after
 * a power cut that much is certain, and anything up to what was written may be there too. From this trace 200
 * cuts at random times and 200 at random lengths are made: each must be readable, and hold every whole second
 * before the last two. Another 100 have zeros or junk behind them, as a disk may leave after a power cut: that
 * damages the last gzip member, and every whole one before it must hold. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "ingest/serial/recorder.h"
#include "tests/serial/read_back.h"
#include "tests/serial/script.h"

#define SECONDS 150
#define RATE    100

ssize_t __real_pwrite64(int fd, const void *buf, size_t n, off_t at);
ssize_t __wrap_pwrite64(int fd, const void *buf, size_t n, off_t at);
int __real_fdatasync(int fd);
int __wrap_fdatasync(int fd);

static struct script script;
static int64_t full_from_ns, full_to_ns; /* virtual time in which the disk takes nothing */
static struct {
    int64_t at_ns;
    off_t length;
} synced[4 * SECONDS];
static size_t n_synced;

ssize_t __wrap_pwrite64(int fd, const void *buf, size_t n, off_t at)
{
    if (script.now_ns < full_from_ns || script.now_ns >= full_to_ns)
        return __real_pwrite64(fd, buf, n, at);
    /* A full disk takes a little, then nothing: every other call is short. */
    static unsigned calls;
    if (++calls % 2 && n > 1)
        return __real_pwrite64(fd, buf, n / 2, at);
    errno = ENOSPC;
    return -1;
}

int __wrap_fdatasync(int fd)
{
    const int rc = __real_fdatasync(fd);
    if (n_synced < sizeof synced / sizeof synced[0]) {
        synced[n_synced].at_ns = script.now_ns;
        synced[n_synced++].length = lseek(fd, 0, SEEK_END);
    }
    return rc;
}

static char folder[64], path[96], cut[96];
static struct step *steps;
static char *text;

static int64_t script_now(void *user)
{
    return ((struct script *)user)->now_ns;
}

static unsigned random_state;

static unsigned next_random(void)
{
    random_state ^= random_state << 13;
    random_state ^= random_state >> 17;
    random_state ^= random_state << 5;
    return random_state;
}

/* SECONDS of samples in pieces of 5 lines each 50 ms, with or without time lines. */
static void write_script(bool source_clock)
{
    const size_t pieces = (size_t)SECONDS * RATE / 5;
    steps = calloc(pieces + 2, sizeof *steps);
    text = malloc(pieces * 256);
    assert_non_null(steps);
    assert_non_null(text);
    char *p = text;
    for (size_t i = 0; i < pieces; i++) {
        steps[i] = (struct step){STEP_BYTES, p, 0, i ? 50 : 0};
        if (i == 0 && source_clock)
            p += sprintf(p, "%%tidemark 1\n%%channel paw unit=cm[H2O] decimals=2\n"
                            "%%channel flow unit=L/s decimals=3\n%%rate %d/1\n", RATE);
        if (source_clock && i % (RATE / 5) == 0)
            p += sprintf(p, i ? "@%zu.0 %d\n" : "@%zu.0 -\n", i / (RATE / 5), RATE);
        for (size_t k = 0; k < 5; k++)
            p += sprintf(p, "%u.%02u,-0.%03u\n", next_random() % 40, next_random() % 100, next_random() % 1000);
        *p++ = '\0';
    }
    steps[pieces] = (struct step){STEP_WAKE, NULL, 0, 0};
    memset(&script, 0, sizeof script);
    script.steps = steps;
    script.now_ns = 1000 * NS_PER_S;
    n_synced = 0;
}

static int record(bool source_clock, struct recorder_status *status)
{
    struct recorder_opts o;
    recorder_opts_defaults(&o);
    o.path = path;
    o.time = (struct recorder_time){script_now, script_now, &script};
    if (!source_clock) {
        o.columns = 2;
        o.column[0] = CH_PAW;
        o.column[1] = CH_FLOW;
        strcpy(o.info.channel[CH_PAW].unit, "cm[H2O]");
        strcpy(o.info.channel[CH_FLOW].unit, "L/s");
        o.info.rate_num = RATE;
        o.info.rate_den = 1;
    }
    struct recorder *r = NULL;
    struct port *port = NULL;
    struct port_opts po;
    struct err e;
    enum recorder_end why;
    port_opts_defaults(&po);
    assert_int_equal(recorder_new(&r, &o, NULL, &e), TM_OK);
    assert_int_equal(port_open(&port, script_ops(&script), "script", &po, &e), TM_OK);
    const int rc = recorder_run(r, port, -1, NULL, NULL, &why, &e);
    recorder_status(r, status);
    port_close(port);
    recorder_free(r);
    return rc;
}

static int setup(void **state)
{
    (void)state;
    random_state = 20260304;
    full_from_ns = full_to_ns = 0;
    (void)snprintf(folder, sizeof folder, "/tmp/tidemark-durable-XXXXXX");
    if (!mkdtemp(folder))
        return -1;
    (void)snprintf(path, sizeof path, "%s/night.log.gz", folder);
    (void)snprintf(cut, sizeof cut, "%s/cut.log.gz", folder);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    free(steps);
    free(text);
    (void)unlink(path);
    (void)unlink(cut);
    return rmdir(folder);
}

static char *whole_file(size_t *n)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    char *bytes = malloc(4u << 20);
    assert_non_null(bytes);
    *n = fread(bytes, 1, 4u << 20, f);
    assert_int_equal(fclose(f), 0);
    return bytes;
}

/* n bytes, and behind them what a disk may leave after a power cut. */
static void write_cut(const char *bytes, size_t n, unsigned kind)
{
    char behind[700];
    FILE *f = fopen(cut, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    for (size_t i = 0; i < sizeof behind; i++)
        behind[i] = kind == 1 ? 0 : (char)next_random();
    if (kind > 0)
        assert_int_equal(fwrite(behind, 1, sizeof behind, f), sizeof behind);
    assert_int_equal(fclose(f), 0);
}

#define MEMBER_S 60 /* the log's gzip members */

/* Of all samples sent before at_ns, those of every whole second before the last two are there; with damage
 * behind the cut, those of every whole member. */
static void holds_seconds(int64_t at_ns, bool damaged)
{
    struct read_back got;
    read_back(cut, &got);
    const int64_t since_ns = at_ns - 1000 * NS_PER_S;
    int64_t whole_s = since_ns / NS_PER_S - 2;
    if (damaged)
        whole_s -= whole_s % MEMBER_S;
    if (whole_s <= 0)
        return;
    assert_true(got.opened);
    assert_false(got.failed);
    assert_false(got.closed_well);
    const size_t least = (size_t)(whole_s * RATE);
    /* Without a clock the first line may be half a line and is left out. */
    if (got.samples + 1 < least)
        fail_msg("cut at %.3f s: %zu samples, %zu are owed", (double)since_ns / 1e9, got.samples, least);
}

static void cuts(bool source_clock)
{
    struct recorder_status status;
    write_script(source_clock);
    assert_int_equal(record(source_clock, &status), TM_OK);
    assert_true(n_synced > SECONDS / 2);
    size_t n;
    char *bytes = whole_file(&n);
    for (int i = 0; i < 300; i++) {
        const int64_t at = 1000 * NS_PER_S + (int64_t)(next_random() % (SECONDS * 1000u)) * 1000000;
        size_t certain = 0;
        for (size_t k = 0; k < n_synced && synced[k].at_ns <= at; k++)
            certain = (size_t)synced[k].length;
        write_cut(bytes, certain, i < 200 ? 0 : 1 + (unsigned)i % 2);
        holds_seconds(at, i >= 200);
    }
    for (int i = 0; i < 200; i++) {
        const size_t length = next_random() % n;
        int64_t at = 1000 * NS_PER_S;
        for (size_t k = 0; k < n_synced && (size_t)synced[k].length <= length; k++)
            at = synced[k].at_ns;
        write_cut(bytes, length, 0);
        holds_seconds(at, false);
    }
    free(bytes);
}

static void random_cuts_of_a_source_with_a_clock(void **state)
{
    (void)state;
    cuts(true);
}

static void random_cuts_of_a_source_without(void **state)
{
    (void)state;
    cuts(false);
}

/* A sync each second and no more often than twice. */
static void syncs_come_every_second(void **state)
{
    (void)state;
    struct recorder_status status;
    write_script(true);
    assert_int_equal(record(true, &status), TM_OK);
    assert_in_range(n_synced, SECONDS - 2, SECONDS + SECONDS / 5);
    for (size_t k = 1; k + 1 < n_synced; k++)
        assert_in_range(synced[k].at_ns - synced[k - 1].at_ns, NS_PER_S / 2, NS_PER_S * 5 / 4);
}

static void a_full_disk_loses_nothing(void **state)
{
    (void)state;
    struct recorder_status status;
    write_script(true);
    full_from_ns = 1040 * NS_PER_S;
    full_to_ns = 1100 * NS_PER_S;
    assert_int_equal(record(true, &status), TM_OK);
    assert_int_equal(status.samples, SECONDS * RATE);
    assert_false(status.disk_trouble);
    struct read_back got;
    read_back(path, &got);
    assert_true(got.closed_well);
    assert_int_equal(got.samples, SECONDS * RATE);
    assert_int_equal(got.step_ns_max, NS_PER_S / RATE);
}

/* Full to the end: said, and what stands in the file is good. */
static void a_disk_that_stays_full_leaves_a_readable_file(void **state)
{
    (void)state;
    struct recorder_status status;
    write_script(true);
    full_from_ns = 1040 * NS_PER_S;
    full_to_ns = INT64_MAX;
    assert_int_equal(record(true, &status), TM_ERR_SYSTEM);
    struct read_back got;
    read_back(path, &got);
    assert_true(got.opened);
    assert_false(got.failed);
    assert_false(got.closed_well);
    assert_in_range(got.samples, 38 * RATE, 40 * RATE);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
        T(random_cuts_of_a_source_with_a_clock),
        T(random_cuts_of_a_source_without),
        T(syncs_come_every_second),
        T(a_full_disk_loses_nothing),
        T(a_disk_that_stays_full_leaves_a_readable_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
