#define _XOPEN_SOURCE 600
#include "tests/serial/rig.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

static const char *program_path, *preload_path;

void rig_paths(const char *program, const char *preload)
{
    program_path = program;
    preload_path = preload;
}

/* The recorder sets the line to raw when it opens it; here it is so from the beginning. */
static void make_raw(int fd)
{
    struct termios t;
    assert_int_equal(tcgetattr(fd, &t), 0);
    t.c_iflag = 0;
    t.c_oflag = 0;
    t.c_lflag = 0;
    t.c_cflag = CS8 | CREAD | CLOCAL;
    assert_int_equal(tcsetattr(fd, TCSANOW, &t), 0);
}

void rig_open(struct rig *r, const char *folder, const char *name)
{
    memset(r, 0, sizeof *r);
    r->pid = -1;
    r->err = -1;
    r->master = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(r->master >= 0);
    assert_int_equal(fcntl(r->master, F_SETFD, FD_CLOEXEC), 0);
    assert_int_equal(grantpt(r->master), 0);
    assert_int_equal(unlockpt(r->master), 0);
    (void)snprintf(r->port, sizeof r->port, "%s", ptsname(r->master));
    r->slave = open(r->port, O_RDWR | O_NOCTTY | O_CLOEXEC);
    assert_true(r->slave >= 0);
    make_raw(r->slave);
    assert_int_equal(fcntl(r->master, F_SETFL, O_NONBLOCK), 0);
    (void)snprintf(r->log, sizeof r->log, "%s/%s", folder, name);
    (void)snprintf(r->notes, sizeof r->notes, "%s/%s.notes", folder, name);
}

static void child(const struct rig *r, const char *const *extra, int err, unsigned long limit)
{
    const char *argv[24] = {program_path, "record", r->port, "-o", r->log};
    int n = 5;
    for (; extra && *extra && n < 23; extra++)
        argv[n++] = *extra;
    const int null = open("/dev/null", O_RDWR);
    (void)dup2(null, 0);
    (void)dup2(null, 1);
    (void)dup2(err, 2);
    (void)setenv("LD_PRELOAD", preload_path, 1);
    (void)setenv("TIDEMARK_TEST_LINES", r->notes, 1);
    /* A sanitized program wants to be loaded first; the preload does not stand in its way. */
    (void)setenv("ASAN_OPTIONS", "verify_asan_link_order=0", 1);
    if (limit > 0) {
        const struct rlimit size = {limit, RLIM_INFINITY};
        (void)setrlimit(RLIMIT_FSIZE, &size);
    }
    (void)execv(program_path, (char *const *)argv);
    _exit(127);
}

static int holds_word(const char *path, const char *word)
{
    char text[8192];
    FILE *f = fopen(path, "r");
    if (!f)
        return 0;
    text[fread(text, 1, sizeof text - 1, f)] = '\0';
    (void)fclose(f);
    return strstr(text, word) != NULL;
}

/* Polls a condition without a signal of its own; 30 s is the end of patience, not a pace. */
static void pause_ms(int *left_ms, const char *what)
{
    (void)poll(NULL, 0, 5);
    *left_ms -= 5;
    if (*left_ms <= 0)
        fail_msg("waited 30 s in vain for %s", what);
}

static void open_stderr(const struct rig *r, enum rig_stderr kind, int p[2])
{
    if (kind == RIG_PIPE) {
        assert_int_equal(pipe(p), 0);
    } else if (kind == RIG_NOTES) {
        p[1] = open(r->notes, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    } else {
        p[0] = posix_openpt(O_RDWR | O_NOCTTY);
        assert_int_equal(grantpt(p[0]), 0);
        assert_int_equal(unlockpt(p[0]), 0);
        p[1] = open(ptsname(p[0]), O_RDWR | O_NOCTTY | O_CLOEXEC);
    }
    assert_true(p[1] >= 0);
    if (p[0] >= 0)
        assert_int_equal(fcntl(p[0], F_SETFD, FD_CLOEXEC), 0);
}

void rig_start(struct rig *r, const char *const *extra, enum rig_stderr kind, unsigned long limit)
{
    int p[2] = {-1, -1};
    open_stderr(r, kind, p);
    r->pid = fork();
    assert_true(r->pid >= 0);
    if (r->pid == 0)
        child(r, extra, p[1], limit);
    assert_int_equal(close(p[1]), 0);
    r->err = p[0];
    int left_ms = 30000;
    if (kind == RIG_NOTES) {
        while (!holds_word(r->notes, "listening"))
            pause_ms(&left_ms, "the program to listen");
        return;
    }
    char text[4096] = "";
    size_t n = 0;
    while (!strstr(text, "listening to")) {
        const ssize_t got = read(r->err, text + n, sizeof text - 1 - n);
        text[n + (got > 0 ? (size_t)got : 0)] = '\0';
        if (got <= 0)
            fail_msg("the program does not listen: %s", text);
        n += (size_t)got;
    }
}

void rig_send(struct rig *r, const char *text, size_t n)
{
    while (n > 0) {
        const ssize_t w = write(r->master, text, n);
        if (w > 0) {
            text += w;
            n -= (size_t)w;
            continue;
        }
        assert_true(w < 0 && (errno == EAGAIN || errno == EINTR));
        struct pollfd p = {.fd = r->master, .events = POLLOUT};
        assert_true(poll(&p, 1, 30000) != 0);
    }
}

void rig_wait_log(const struct rig *r, off_t n)
{
    int left_ms = 30000;
    struct stat st;
    while (stat(r->log, &st) != 0 || st.st_size < n)
        pause_ms(&left_ms, "the log to grow");
}

void rig_pull_cable(struct rig *r)
{
    if (r->master >= 0)
        assert_int_equal(close(r->master), 0);
    if (r->slave >= 0)
        assert_int_equal(close(r->slave), 0);
    r->master = r->slave = -1;
}

void rig_signal(struct rig *r, int number)
{
    assert_int_equal(kill(r->pid, number), 0);
}

int rig_wait(struct rig *r, char *words, size_t cap)
{
    size_t n = 0;
    char rest[4096];
    ssize_t got;
    while (r->err >= 0 && (got = read(r->err, rest, sizeof rest)) > 0) {
        for (ssize_t i = 0; words && i < got && n + 1 < cap; i++)
            words[n++] = rest[i];
    }
    if (words && cap > 0)
        words[n] = '\0';
    int status = 0;
    assert_int_equal(waitpid(r->pid, &status, 0), r->pid);
    r->pid = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

void rig_close(struct rig *r)
{
    if (r->pid > 0) {
        (void)kill(r->pid, SIGKILL);
        (void)waitpid(r->pid, NULL, 0);
    }
    rig_pull_cable(r);
    if (r->err >= 0)
        assert_int_equal(close(r->err), 0);
    (void)unlink(r->log);
    (void)unlink(r->notes);
}
