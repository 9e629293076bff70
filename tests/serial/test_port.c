/* The descriptor backend on pipes, files, FIFOs and a pseudo-terminal: data, silence, wake-up, end, gone. */
#define _XOPEN_SOURCE 600
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <termios.h>
#include <unistd.h>

#include "ingest/serial/port.h"

static char folder[64], path[96];

static int setup(void **state)
{
    (void)state;
    (void)snprintf(folder, sizeof folder, "/tmp/tidemark-port-XXXXXX");
    if (!mkdtemp(folder))
        return -1;
    (void)snprintf(path, sizeof path, "%s/source", folder);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    (void)unlink(path);
    return rmdir(folder);
}

static struct port *open_port(const char *name)
{
    struct port_opts o;
    port_opts_defaults(&o);
    struct port *p = NULL;
    struct err e;
    assert_ptr_equal(port_backend_for(name), &port_descriptor);
    assert_int_equal(port_open(&p, &port_descriptor, name, &o, &e), TM_OK);
    return p;
}

static void gives(struct port *p, const char *text)
{
    char buf[64];
    size_t got = 0;
    struct err e;
    assert_int_equal(port_read(p, buf, sizeof buf, &got, 5000, -1, &e), PORT_DATA);
    assert_int_equal(got, strlen(text));
    assert_memory_equal(buf, text, got);
}

static enum port_rc look(struct port *p, int wait_ms, int wake_fd)
{
    char buf[64];
    size_t got = 99;
    struct err e;
    const enum port_rc rc = port_read(p, buf, sizeof buf, &got, wait_ms, wake_fd, &e);
    assert_int_equal(got, 99); /* only data says how much */
    return rc;
}

static void a_file_gives_its_bytes_and_ends(void **state)
{
    (void)state;
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_true(fputs("1,2\n", f) >= 0);
    assert_int_equal(fclose(f), 0);
    struct port *p = open_port(path);
    gives(p, "1,2\n");
    assert_int_equal(look(p, 0, -1), PORT_END);
    assert_int_equal(look(p, 0, -1), PORT_END);
    char text[128];
    port_describe(p, text, sizeof text);
    assert_string_equal(text, path);
    port_close(p);
}

static void a_fifo_is_quiet_until_somebody_writes(void **state)
{
    (void)state;
    assert_int_equal(mkfifo(path, 0600), 0);
    struct port *p = open_port(path); /* does not wait for a writer */
    assert_int_equal(look(p, 0, -1), PORT_QUIET);
    assert_int_equal(look(p, 20, -1), PORT_QUIET);
    const int w = open(path, O_WRONLY);
    assert_true(w >= 0);
    assert_int_equal(look(p, 0, -1), PORT_QUIET);
    assert_int_equal(write(w, "ab", 2), 2);
    gives(p, "ab");
    assert_int_equal(write(w, "cd", 2), 2);
    assert_int_equal(close(w), 0);
    gives(p, "cd"); /* what was written before the end is not lost */
    assert_int_equal(look(p, 0, -1), PORT_END);
    port_close(p);
}

static void a_wake_up_ends_the_wait(void **state)
{
    (void)state;
    int wake[2];
    assert_int_equal(pipe(wake), 0);
    assert_int_equal(mkfifo(path, 0600), 0);
    struct port *p = open_port(path);
    assert_int_equal(write(wake[1], "x", 1), 1);
    assert_int_equal(look(p, 60000, wake[0]), PORT_WOKEN);
    port_close(p);
    assert_int_equal(close(wake[0]), 0);
    assert_int_equal(close(wake[1]), 0);
}

static volatile sig_atomic_t signals_seen;

static void count_signal(int number)
{
    (void)number;
    signals_seen++;
}

/* A timer interrupts the wait again and again: it still lasts its time and is called silence. */
static void signals_do_not_end_the_wait(void **state)
{
    (void)state;
    struct sigaction act = {.sa_handler = count_signal}, old; /* no SA_RESTART */
    assert_int_equal(sigaction(SIGALRM, &act, &old), 0);
    const struct itimerval often = {{0, 2000}, {0, 2000}}, never = {{0, 0}, {0, 0}};
    assert_int_equal(mkfifo(path, 0600), 0);
    struct port *p = open_port(path);
    signals_seen = 0;
    assert_int_equal(setitimer(ITIMER_REAL, &often, NULL), 0);
    const enum port_rc rc = look(p, 60, -1);
    assert_int_equal(setitimer(ITIMER_REAL, &never, NULL), 0);
    assert_int_equal(rc, PORT_QUIET);
    assert_true(signals_seen > 0);
    port_close(p);
    assert_int_equal(sigaction(SIGALRM, &old, NULL), 0);
}

static void a_pseudo_terminal_is_raw_and_its_hang_up_is_seen(void **state)
{
    (void)state;
    const int master = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(master >= 0);
    assert_int_equal(grantpt(master), 0);
    assert_int_equal(unlockpt(master), 0);
    struct port *p = open_port(ptsname(master));
    assert_int_equal(look(p, 0, -1), PORT_QUIET);
    /* Cooked, the bytes 3 (interrupt), 4 (end), 13 (return) and 17 (stop) would not come through. */
    assert_int_equal(write(master, "1\003\004\r\021,2\n", 8), 8);
    gives(p, "1\003\004\r\021,2\n");
    assert_int_equal(fcntl(master, F_SETFL, O_NONBLOCK), 0);
    char echo;
    assert_int_equal(read(master, &echo, 1), -1); /* nothing was echoed, nothing sent */
    assert_int_equal(errno, EAGAIN);
    assert_int_equal(close(master), 0);
    assert_int_equal(look(p, 60000, -1), PORT_GONE);
    assert_int_equal(look(p, 60000, -1), PORT_GONE);
    port_close(p);
}

static void what_is_not_there_is_said(void **state)
{
    (void)state;
    struct port_opts o;
    port_opts_defaults(&o);
    struct port *p = NULL;
    struct err e;
    assert_int_equal(port_open(&p, port_backend_for("/dev/ttyNONE9"), "/dev/ttyNONE9", &o, &e), TM_ERR_SYSTEM);
    assert_int_equal(e.sys_errno, ENOENT);
    assert_non_null(strstr(e.mend, "tidemark ports"));
    assert_null(p);
    assert_int_equal(port_open(&p, &port_serial, "/dev/ttyNONE9", &o, &e), TM_ERR_SYSTEM);
    assert_null(p);
    port_close(NULL);
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
        T(a_file_gives_its_bytes_and_ends),
        T(a_fifo_is_quiet_until_somebody_writes),
        T(a_wake_up_ends_the_wait),
        T(signals_do_not_end_the_wait),
        T(a_pseudo_terminal_is_raw_and_its_hang_up_is_seen),
        T(what_is_not_there_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
