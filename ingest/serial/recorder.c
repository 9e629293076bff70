#include "ingest/serial/recorder_internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static int64_t read_clock(clockid_t id)
{
    struct timespec t;
    (void)clock_gettime(id, &t);
    return (int64_t)t.tv_sec * NS_PER_S + t.tv_nsec;
}

static int64_t system_monotonic_ns(void *user)
{
    (void)user;
    return read_clock(CLOCK_MONOTONIC);
}

static int64_t system_wall_ns(void *user)
{
    (void)user;
    return read_clock(CLOCK_REALTIME);
}

void recorder_opts_defaults(struct recorder_opts *o)
{
    memset(o, 0, sizeof *o);
    recording_info_defaults(&o->info);
    o->time.monotonic_ns = system_monotonic_ns;
    o->time.wall_ns = system_wall_ns;
}

int recorder_new(struct recorder **out, const struct recorder_opts *o, const struct notice_sink *sink,
                 struct err *e)
{
    struct recorder *r = calloc(1, sizeof *r);
    if (!r)
        return err_set(e, TM_ERR_MEMORY, o->path, 0, NULL, "out of memory");
    r->o = *o;
    if (sink)
        r->sink = *sink;
    r->info = o->info;
    r->written_ns = -1;
    r->first_ns = r->newest_ns = r->newest_any_ns = -1;
    r->last_paw_cmh2o = r->last_flow_l_s = (double)NAN;
    assemble_init(&r->wire);
    int rc = o->columns > 0 ? recorder_set_columns(r, e) : TM_OK;
    if (rc == TM_OK)
        rc = outfile_create(&r->file, o->path, e);
    if (rc != TM_OK) {
        free(r);
        return rc;
    }
    *out = r;
    return TM_OK;
}

void recorder_say(struct recorder *r, enum notice_level level, const char *code, uint64_t line, const char *mend,
                  const char *fmt, ...)
{
    char what[256];
    va_list ap;
    va_start(ap, fmt);
    (void)vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    notice_send(&r->sink, level, code, NULL, line, mend, "%s", what);
}

void recorder_fail(struct recorder *r, int rc, const char *mend, const char *what)
{
    if (r->rc != TM_OK)
        return;
    r->rc = err_set(&r->fault, rc, r->o.path, 0, mend, "%s", what);
}

void recorder_status(const struct recorder *r, struct recorder_status *out)
{
    const int64_t now = r->o.time.monotonic_ns(r->o.time.user);
    memset(out, 0, sizeof *out);
    out->samples = r->samples;
    out->missing = r->missing;
    out->bad_lines = r->bad_lines;
    out->since_start_ns = r->first_ns < 0 ? 0 : now - r->first_ns;
    out->newest_age_ns = r->newest_ns < 0 ? -1 : now - r->newest_ns;
    out->listening_ns = now - r->listening_ns;
    out->bytes_durable = r->file ? outfile_good(r->file) : r->bytes_durable;
    out->bytes_waiting = r->file ? outfile_waiting(r->file) : 0;
    out->disk_trouble = r->disk_trouble;
    out->last_paw_cmh2o = r->last_paw_cmh2o;
    out->last_flow_l_s = r->last_flow_l_s;
}

void recorder_discard(struct recorder *r)
{
    outfile_discard(r->file);
    r->file = NULL;
}

void recorder_free(struct recorder *r)
{
    if (!r)
        return;
    log_writer_destroy(r->writer);
    struct err ignored;
    (void)!outfile_close(r->file, &ignored);
    free(r);
}
