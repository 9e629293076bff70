/* The real `tidemark record` through the real libserialport, on a pseudo-terminal:
 * test_serial_record PROGRAM PRELOAD. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tests/serial/read_back.h"
#include "tests/serial/rig.h"

int prlimit(pid_t pid, int resource, const struct rlimit *now, struct rlimit *before);

static char folder[64];
static struct rig rig;

static int setup(void **state)
{
    (void)state;
    (void)snprintf(folder, sizeof folder, "/tmp/tidemark-record-XXXXXX");
    if (!mkdtemp(folder))
        return -1;
    rig_open(&rig, folder, "night.log.gz");
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    rig_close(&rig);
    return rmdir(folder);
}

static const char HEAD[] = "%tidemark 1\n%channel paw unit=cm[H2O] decimals=2\n"
                           "%channel flow unit=L/s decimals=3\n%rate 100/1\n";

/* `seconds` of samples with time lines, from second `from`; returns the sum of the pressures. */
static double send_seconds(struct rig *r, int from, int seconds)
{
    static char text[4096];
    unsigned x = (unsigned)from + 1;
    double sum = 0;
    for (int s = from; s < from + seconds; s++) {
        size_t n = (size_t)snprintf(text, sizeof text, s == 0 ? "@%d.000 -\n" : "@%d.000 100\n", s);
        for (int i = 0; i < 100; i++) {
            x = x * 1103515245u + 12345u;
            const unsigned paw = x >> 16 & 0x7ff;
            sum += paw / 100.0;
            n += (size_t)snprintf(text + n, sizeof text - n, "%u.%02u,-0.%03u\n", paw / 100, paw % 100, x % 1000);
        }
        rig_send(r, text, n);
    }
    return sum;
}

static char *notes_of(const struct rig *r)
{
    static char text[16384];
    FILE *f = fopen(r->notes, "r");
    assert_non_null(f);
    text[fread(text, 1, sizeof text - 1, f)] = '\0';
    assert_int_equal(fclose(f), 0);
    return text;
}

/* Until so many samples are on the disk; half a minute is the end of patience, not a pace. */
static void wait_for_samples(const struct rig *r, size_t n, struct read_back *got)
{
    for (int left_ms = 30000; left_ms > 0; left_ms -= 20) {
        read_back(r->log, got);
        if (got->samples >= n)
            return;
        (void)poll(NULL, 0, 20);
    }
    fail_msg("%zu samples are on the disk, %zu were sent", got->samples, n);
}

/* An hour of lines as fast as they are taken. The last time line closes the hour: once it is on the disk the
 * log is whole, so the feeder waits for that and for nothing else. */
static void an_hour_arrives_whole(void **state)
{
    (void)state;
    rig_start(&rig, NULL, RIG_PIPE, 0);
    rig_send(&rig, HEAD, sizeof HEAD - 1);
    const double sum = send_seconds(&rig, 0, 3600);
    rig_send(&rig, "@3600.000 100\n", 14);
    struct read_back got;
    wait_for_samples(&rig, 360000, &got);
    rig_signal(&rig, SIGTERM);
    assert_int_equal(rig_wait(&rig, NULL, 0), 0);
    read_back(rig.log, &got);
    assert_true(got.closed_well);
    assert_int_equal(got.samples, 360000);
    assert_int_equal(got.missing, 0);
    assert_int_equal(got.gaps, 0);
    assert_int_equal(got.step_ns_max, 10000000);
    assert_float_equal(got.paw_sum, sum, 1e-3);
}

static void ends_well_on(int number)
{
    rig_start(&rig, NULL, RIG_PIPE, 0);
    rig_send(&rig, HEAD, sizeof HEAD - 1);
    (void)send_seconds(&rig, 0, 3);
    rig_wait_log(&rig, 100); /* something was taken: the first seconds are on the disk */
    rig_signal(&rig, number);
    char words[4096];
    assert_int_equal(rig_wait(&rig, words, sizeof words), 0);
    assert_non_null(strstr(words, "closed well"));
    struct read_back got;
    read_back(rig.log, &got);
    assert_true(got.closed_well);
    assert_false(got.failed);
    assert_in_range(got.samples, 1, 300);
}

static void ends_well_on_sigint(void **state)
{
    (void)state;
    ends_well_on(SIGINT);
}

static void ends_well_on_sigterm(void **state)
{
    (void)state;
    ends_well_on(SIGTERM);
}

static void ends_well_on_sighup(void **state)
{
    (void)state;
    ends_well_on(SIGHUP);
}

/* Nobody tells the program: it sees the hang-up, and ends by itself. */
static void a_pulled_cable_ends_it_well(void **state)
{
    (void)state;
    rig_start(&rig, NULL, RIG_PIPE, 0);
    rig_send(&rig, HEAD, sizeof HEAD - 1);
    (void)send_seconds(&rig, 0, 3);
    rig_wait_log(&rig, 100);
    rig_pull_cable(&rig);
    char words[4096];
    assert_int_equal(rig_wait(&rig, words, sizeof words), 1);
    assert_non_null(strstr(words, "cable is out"));
    struct read_back got;
    read_back(rig.log, &got);
    assert_true(got.closed_well);
    assert_in_range(got.samples, 1, 300);
    assert_string_equal(got.gap, "cable-out");
}

/* Cautions, port, file and free space are told before the port is opened; DTR and RTS are then taken away and
 * stay so; no byte goes to the port. */
static void nothing_disturbs_the_device(void **state)
{
    (void)state;
    static const char *const told[] = {
        "Tidemark reads recorded airway pressure", "It is not a medical device", "Care follows the patient",
        "Connect only through an isolated", "Use a code, not a name", "Nothing will be sent", "Free on its disk"};
    rig_start(&rig, NULL, RIG_NOTES, 0);
    rig_send(&rig, HEAD, sizeof HEAD - 1);
    (void)send_seconds(&rig, 0, 2);
    rig_wait_log(&rig, 100);
    char back;
    assert_int_equal(read(rig.master, &back, 1), -1); /* nothing came out of it */
    rig_signal(&rig, SIGTERM);
    assert_int_equal(rig_wait(&rig, NULL, 0), 0);
    char *notes = notes_of(&rig);
    const char *opened = strstr(notes, "open\n");
    assert_non_null(opened);
    for (size_t i = 0; i < sizeof told / sizeof told[0]; i++) {
        const char *at = strstr(notes, told[i]);
        assert_non_null(at);
        assert_true(at < opened);
    }
    assert_null(strstr(notes, "write to a terminal"));
    int dtr = 1, rts = 1;
    for (char *line = strtok(notes, "\n"); line; line = strtok(NULL, "\n")) {
        const int set = strncmp(line, "set", 3) == 0;
        if (!set && strncmp(line, "clear", 5) != 0)
            continue;
        if (strstr(line, "dtr"))
            dtr = set;
        if (strstr(line, "rts"))
            rts = set;
    }
    assert_int_equal(dtr, 0);
    assert_int_equal(rts, 0);
}

/* A limit on the size of files is a full disk. While it holds the samples wait; lifted, all of them arrive. */
static void a_full_disk_loses_nothing(void **state)
{
    (void)state;
    rig_start(&rig, NULL, RIG_PIPE, 2000);
    rig_send(&rig, HEAD, sizeof HEAD - 1);
    char words[512];
    size_t n = 0;
    int second = 0;
    words[0] = '\0';
    (void)send_seconds(&rig, second, 20);
    second += 20;
    while (!strstr(words, "writing the recording failed")) {
        const ssize_t got = read(rig.err, words + n, sizeof words - 1 - n);
        assert_true(got > 0);
        n += (size_t)got;
        words[n] = '\0';
    }
    struct stat st;
    assert_int_equal(stat(rig.log, &st), 0);
    assert_true(st.st_size <= 2000);
    const struct rlimit none = {RLIM_INFINITY, RLIM_INFINITY};
    assert_int_equal(prlimit(rig.pid, RLIMIT_FSIZE, &none, NULL), 0);
    (void)send_seconds(&rig, second, 20);
    rig_send(&rig, "@40.000 100\n", 12);
    struct read_back got;
    wait_for_samples(&rig, 4000, &got);
    rig_signal(&rig, SIGTERM);
    assert_int_equal(rig_wait(&rig, NULL, 0), 1);
    read_back(rig.log, &got);
    assert_true(got.closed_well);
    assert_int_equal(got.samples, 4000);
    assert_int_equal(got.gaps, 0);
}

static void arrival_times_for_bare_lines(void **state)
{
    (void)state;
    const char *const extra[] = {"--channels", "flow=L/min:BTPS,paw=hPa", "--rate", "100", "--subject", "K7", "--yes", NULL};
    rig_start(&rig, extra, RIG_PIPE, 0);
    char text[64];
    for (int i = 0; i < 150; i++)
        rig_send(&rig, text, (size_t)snprintf(text, sizeof text, "30.0,%d.%02d\r\n", i / 10, i % 10));
    rig_wait_log(&rig, 100); /* 1.2 s after the first sample it is clear that no time line comes */
    rig_signal(&rig, SIGINT);
    assert_int_equal(rig_wait(&rig, NULL, 0), 0);
    struct read_back got;
    read_back(rig.log, &got);
    assert_true(got.closed_well);
    assert_int_equal(got.samples, 149); /* the first line may have been half a line */
}

/* On a terminal one line says how old the newest sample is, and after 5 s of silence says that instead. */
static void a_terminal_sees_the_age_of_the_newest_sample(void **state)
{
    (void)state;
    rig_start(&rig, NULL, RIG_TERMINAL, 0);
    rig_send(&rig, HEAD, sizeof HEAD - 1);
    (void)send_seconds(&rig, 0, 2);
    static char seen[65536];
    size_t n = 0;
    while (!strstr(seen, "No data for 5 s.")) {
        const ssize_t got = read(rig.err, seen + n, sizeof seen - 1 - n);
        if (got <= 0)
            fail_msg("the terminal sees only: %s", seen);
        n += (size_t)got;
        seen[n] = '\0';
    }
    assert_non_null(strstr(seen, "Look back only."));
    const char *age = strstr(seen, "newest sample 0.");
    assert_non_null(age);
    assert_true(age < strstr(seen, "No data for 5 s."));
    assert_null(strchr(seen, '\a'));
    rig_signal(&rig, SIGINT);
    assert_int_equal(rig_wait(&rig, NULL, 0), 0);
}

int main(int argc, char **argv)
{
    if (argc != 3)
        return 2;
    rig_paths(argv[1], argv[2]);
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
        T(an_hour_arrives_whole),        T(ends_well_on_sigint),       T(ends_well_on_sigterm),
        T(ends_well_on_sighup),          T(a_pulled_cable_ends_it_well), T(nothing_disturbs_the_device),
        T(a_full_disk_loses_nothing),    T(arrival_times_for_bare_lines),
        T(a_terminal_sees_the_age_of_the_newest_sample),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
