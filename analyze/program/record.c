/* tidemark record: a serial port into a log. */
#include "analyze/program/record.h"
#include "analyze/tables/wording.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

/* SIGINT, SIGTERM and the terminal's hang-up become a readable descriptor: nothing is interrupted, and the log
 * is closed well. A limit on the file's size is a full disk, not a death. */
static int listen_to_signals(void)
{
    sigset_t set;
    (void)sigemptyset(&set);
    (void)sigaddset(&set, SIGINT);
    (void)sigaddset(&set, SIGTERM);
    (void)sigaddset(&set, SIGHUP);
    (void)signal(SIGXFSZ, SIG_IGN);
    if (sigprocmask(SIG_BLOCK, &set, NULL) != 0)
        return -1;
    return signalfd(-1, &set, SFD_CLOEXEC);
}

static void tell_end(const struct args *a, const struct recorder *r, const struct recorder_opts *o,
                     enum recorder_end why)
{
    static const char *const reasons[] = {
        [RECORDER_ASKED] = "ended as asked", [RECORDER_INPUT] = "the source ended",
        [RECORDER_GONE] = "the port went away", [RECORDER_FAULT] = "reading failed"};
    struct recorder_status s;
    recorder_status(r, &s);
    say(a->cmd, "%s: %s; %llu samples, %llu of them missing; closed well", o->path, reasons[why],
        (unsigned long long)s.samples, (unsigned long long)s.missing);
}

static int record(const struct args *a, struct recorder *r, const struct recorder_opts *o, struct port *port,
                  struct record_view *view)
{
    const int wake_fd = listen_to_signals();
    if (wake_fd < 0) {
        say(a->cmd, "signals can't be listened to");
        recorder_discard(r);
        return EXIT_OUTPUT;
    }
    char text[256];
    port_describe(port, text, sizeof text);
    say(a->cmd, "listening to %s; Ctrl-C ends the recording", text);
    enum recorder_end why = RECORDER_ASKED;
    struct err e;
    const int rc = recorder_run(r, port, wake_fd, record_view_status, view, &why, &e);
    record_view_clear(view);
    (void)close(wake_fd);
    const int heard = notices_end(view->notices);
    if (rc == TM_OK) {
        tell_end(a, r, o, why);
        return heard;
    }
    say_error(a->cmd, &e);
    return rc == TM_ERR_INPUT || rc == TM_ERR_USAGE ? EXIT_NOTHING : EXIT_OUTPUT;
}

static int run(const struct args *a)
{
    struct recorder_opts o;
    struct port_opts port_opts;
    int status = record_parse(a, &o, &port_opts);
    if (status != EXIT_DONE)
        return status;
    o.caution = wording_short();
    const char *name = a->operands[0];
    const struct port_ops *backend = port_backend_for(name);
    record_introduce(a, &o, &port_opts, backend);
    if (!record_agreed(a)) {
        say(a->cmd, "not begun");
        return EXIT_DONE;
    }
    struct record_view view = {.on = isatty(STDERR_FILENO) == 1, .notices = notices_new(a->cmd)};
    struct recorder *r = NULL;
    struct port *port = NULL;
    struct err e;
    int rc = TM_ERR_MEMORY;
    if (!view.notices) {
        say(a->cmd, "out of memory");
        return EXIT_NOTHING;
    }
    /* The file first: where it can't be, no device need be disturbed. */
    rc = recorder_new(&r, &o, &(struct notice_sink){record_view_hear, &view}, &e);
    if (rc != TM_OK) {
        say_error(a->cmd, &e);
        status = rc == TM_ERR_SYSTEM ? EXIT_OUTPUT : status_of(rc);
        goto out;
    }
    rc = port_open(&port, backend, name, &port_opts, &e);
    if (rc != TM_OK) {
        say_error(a->cmd, &e);
        recorder_discard(r);
        status = status_of(rc);
        goto out;
    }
    status = record(a, r, &o, port, &view);
out:
    port_close(port);
    recorder_free(r);
    notices_free(view.notices);
    return status;
}

static const char *const examples[] = {
    "tidemark record /dev/ttyUSB0 -o night.log.gz",
    "Records a source that sends a head and time lines.",
    "tidemark record /dev/ttyUSB0 -o night.log.gz --baud 57600 --channels paw=cm[H2O],flow=L/min:BTPS --rate 100",
    "Records a source that sends bare sample lines, with their arrival times.",
    "tidemark record - -o night.log.gz < lines.txt",
    "Records lines from standard input.",
    NULL,
};

const struct command command_record = {
    .name = "record",
    .summary = "capture a serial port to a log",
    .operands = "PORT",
    .operands_min = 1,
    .operands_max = 1,
    .text = "Listens to PORT (a serial port, a FIFO, a file, or - for standard input) and writes what it says to a log. "
            "Lines are those of the log format, each with an optional checksum; docs/recording.md has the grammar and "
            "how to connect.\n\n"
            "No byte is sent to the port. What came is on the disk within two seconds; the recording ends well on "
            "Ctrl-C, on SIGTERM, when the source ends, and when the cable is pulled, which is written as a gap.\n\n"
            "The exit status is 1 if anything was wrong on the way (damaged lines, a pulled cable), 3 if no sample "
            "came or the port can't be opened, 4 if the log could not be written.",
    .opts = record_opts_table,
    .examples = examples,
    .run = run,
};
