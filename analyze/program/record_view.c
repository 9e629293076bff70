/* What `tidemark record` tells: before it begins, and while it runs. */
#include "analyze/program/record.h"
#include "analyze/tables/wording.h"

#include <stdio.h>
#include <string.h>
#include <sys/statvfs.h>
#include <unistd.h>

#define DRAW_EVERY_MS 250 /* at most 4 a second */

static void tell_file(const struct recorder_opts *o)
{
    char folder[4096] = ".";
    const char *slash = strrchr(o->path, '/');
    if (slash) {
        const size_t n = slash == o->path ? 1 : (size_t)(slash - o->path);
        if (n < sizeof folder) {
            memcpy(folder, o->path, n);
            folder[n] = '\0';
        }
    }
    struct statvfs fs;
    if (statvfs(folder, &fs) == 0)
        (void)fprintf(stderr, "File: %s. Free on its disk: %.1f GB.\n", o->path,
                      (double)fs.f_bavail * (double)fs.f_frsize / 1e9);
    else
        (void)fprintf(stderr, "File: %s. Free space on its disk: not known.\n", o->path);
}

void record_introduce(const struct args *a, const struct recorder_opts *o, const struct port_opts *port,
                      const struct port_ops *backend)
{
    (void)fflush(stdout);
    for (size_t i = 0; wording_medium(i); i++)
        (void)fprintf(stderr, "%s\n", wording_medium(i));
    (void)fprintf(stderr, "%s\n%s\n", wording_electrical(), wording_privacy());
    const char *name = a->operands[0];
    if (backend == &port_serial)
        (void)fprintf(stderr,
                      "Port: %s, %d baud, %d data bits, parity %c, %d stop, no flow control, DTR %s, RTS %s. "
                      "Nothing will be sent to it.\n",
                      name, port->baud, port->bits, "NOE"[port->parity], port->stop, port->dtr ? "on" : "off",
                      port->rts ? "on" : "off");
    else
        (void)fprintf(stderr, "Port: %s. Nothing will be sent to it.\n",
                      strcmp(name, "-") == 0 ? "standard input" : name);
    tell_file(o);
}

bool record_agreed(const struct args *a)
{
    if (args_given(a, "yes") || strcmp(a->operands[0], "-") == 0 || isatty(STDIN_FILENO) != 1 ||
        isatty(STDERR_FILENO) != 1)
        return true;
    (void)fputs("Begin? [y/N] ", stderr);
    char answer[16];
    return fgets(answer, sizeof answer, stdin) && (answer[0] == 'y' || answer[0] == 'Y');
}

void record_view_clear(struct record_view *v)
{
    if (v->drawn)
        (void)fputs("\r\033[K\033[A\033[K", stderr);
    v->drawn = false;
}

void record_view_hear(void *view, const struct notice *n)
{
    struct record_view *v = view;
    record_view_clear(v);
    notices_hear(v->notices, n);
}

void record_view_status(void *view, const struct recorder *r)
{
    struct record_view *v = view;
    if (!v->on)
        return;
    struct recorder_status s;
    recorder_status(r, &s);
    const long long now_ms = s.listening_ns / 1000000;
    if (v->drawn && now_ms - v->last_ms < DRAW_EVERY_MS)
        return;
    v->last_ms = now_ms;
    const long long kept_s = s.since_start_ns / NS_PER_S;
    const int64_t age_ns = s.newest_age_ns < 0 ? s.listening_ns : s.newest_age_ns;
    char text[160];
    int n = snprintf(text, sizeof text, "Recording %02lld:%02lld:%02lld", kept_s / 3600, kept_s / 60 % 60, kept_s % 60);
    if (age_ns >= RECORDER_SILENCE_NS)
        n += snprintf(text + n, sizeof text - (size_t)n, " | No data for %lld s.", (long long)(age_ns / NS_PER_S));
    else if (s.newest_age_ns >= 0)
        n += snprintf(text + n, sizeof text - (size_t)n, " | newest sample %.1f s old", (double)age_ns / 1e9);
    else
        n += snprintf(text + n, sizeof text - (size_t)n, " | no sample yet");
    n += snprintf(text + n, sizeof text - (size_t)n, " | %.1f MB on disk", (double)s.bytes_durable / 1e6);
    if (s.disk_trouble)
        (void)snprintf(text + n, sizeof text - (size_t)n, ", %.1f MB wait for it", (double)s.bytes_waiting / 1e6);
    /* Cut to one row of an ordinary terminal: a line that wraps can't be drawn over. */
    if (!v->drawn)
        (void)fprintf(stderr, "%s\n", wording_short());
    (void)fprintf(stderr, "\r%.79s\033[K", text);
    (void)fflush(stderr);
    v->drawn = true;
}
