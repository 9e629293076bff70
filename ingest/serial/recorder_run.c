/* The recorder's loop: wait, take, make durable, end well. */
#include "ingest/serial/recorder_internal.h"

#include <string.h>

#define WAIT_MS 250

/* A disk that is full stays so for a while: said when it begins and when it ends, not each second. */
void recorder_sync(struct recorder *r)
{
    r->synced_ns = r->now_ns;
    if (r->unsynced && r->rc == TM_OK && log_write_flush(r->writer) != TM_OK)
        recorder_fail(r, TM_ERR_SYSTEM, NULL, "the log can't be flushed");
    r->unsynced = false;
    struct err e;
    const int rc = outfile_commit(r->file, &e);
    if (rc != TM_OK && !r->disk_trouble)
        notice_send(&r->sink, NOTICE_WRONG, "disk", r->o.path, 0, e.mend, "%s: %s; recording goes on", e.what,
                    strerror(e.sys_errno));
    else if (rc == TM_OK && r->disk_trouble)
        recorder_say(r, NOTICE_NOTE, "disk_again", 0, NULL, "the disk takes the recording again; nothing was lost");
    r->disk_trouble = rc != TM_OK;
}

static void take_bytes(struct recorder *r, const char *buf, size_t n)
{
    if (r->silent) {
        recorder_say(r, NOTICE_NOTE, "data_again", 0, NULL, "data again after %.0f s",
                     (double)(r->now_ns - (r->newest_any_ns < 0 ? r->listening_ns : r->newest_any_ns)) / (double)NS_PER_S);
        r->silence_gap = r->phase == PHASE_HOST;
    }
    r->silent = false;
    r->newest_any_ns = r->now_ns;
    assemble_push(&r->wire, buf, n, recorder_take_line, r);
}

static void look_at_clock(struct recorder *r)
{
    const int64_t newest = r->newest_any_ns < 0 ? r->listening_ns : r->newest_any_ns;
    if (!r->silent && r->now_ns - newest >= RECORDER_SILENCE_NS) {
        r->silent = true;
        recorder_say(r, NOTICE_NOTE, "silence", 0, "see that the source sends and that speed and cable fit",
                     "no data for %.0f s", (double)(r->now_ns - newest) / (double)NS_PER_S);
    }
    if (r->pending.n > 0 && r->phase == PHASE_HOLD && r->o.clock != RECORDER_CLOCK_SOURCE &&
        r->now_ns - r->arrival_ns[0] > RECORDER_HOLD_NS)
        recorder_leave_hold(r, PHASE_HOST);
    if (r->pending.n > 0 && r->phase == PHASE_SOURCE && r->now_ns - r->arrival_ns[0] > RECORDER_STALE_NS)
        recorder_write_pending(r);
    const bool due = r->now_ns - r->synced_ns >= RECORDER_SYNC_NS;
    if ((r->unsynced || outfile_waiting(r->file) > 0) && (due || outfile_waiting(r->file) > RECORDER_PILE_MAX))
        recorder_sync(r);
}

/* Nothing came: an empty file would only look like a recording. */
static int nothing_came(struct recorder *r, struct err *e)
{
    outfile_discard(r->file);
    r->file = NULL;
    if (r->rc != TM_OK) {
        if (e)
            *e = r->fault;
        return r->rc;
    }
    return err_set(e, TM_ERR_INPUT, r->o.path, 0, NULL, "no sample came: there is no recording");
}

static int finish(struct recorder *r, enum recorder_end why, struct err *e)
{
    const uint64_t cut = assemble_drop(&r->wire);
    if (cut > 0 && why == RECORDER_INPUT)
        recorder_say(r, NOTICE_NOTE, "last_line", r->wire.number + 1, NULL, "the last line has no end: left out");
    if (r->phase == PHASE_HOLD && r->columns > 0 && r->o.clock != RECORDER_CLOCK_SOURCE && r->pending.n > 0)
        recorder_leave_hold(r, PHASE_HOST);
    recorder_write_pending(r);
    if (why == RECORDER_GONE)
        recorder_write_gap(r, "cable-out", -1);
    else if (why == RECORDER_FAULT)
        recorder_write_gap(r, "read-error", -1);
    if (!r->writer)
        return nothing_came(r, e);
    if (r->rc == TM_OK && log_write_close(r->writer) != TM_OK)
        recorder_fail(r, TM_ERR_SYSTEM, NULL, "the log can't be closed");
    struct err disk;
    int rc = outfile_commit(r->file, &disk);
    r->bytes_durable = outfile_good(r->file);
    const int closed = outfile_close(r->file, rc == TM_OK ? &disk : NULL);
    r->file = NULL;
    if (rc == TM_OK)
        rc = closed;
    if (rc != TM_OK && e)
        *e = disk;
    if (rc == TM_OK && r->rc != TM_OK) {
        rc = r->rc;
        if (e)
            *e = r->fault;
    }
    return rc;
}

int recorder_run(struct recorder *r, struct port *port, int wake_fd, recorder_status_fn *on_status, void *user,
                 enum recorder_end *why, struct err *e)
{
    char buf[4096];
    struct err port_err;
    enum port_rc rc = PORT_QUIET;
    const struct recorder_time *time = &r->o.time;
    r->listening_ns = r->synced_ns = r->now_ns = time->monotonic_ns(time->user);
    while (r->rc == TM_OK && (rc == PORT_DATA || rc == PORT_QUIET)) {
        size_t got = 0;
        rc = port_read(port, buf, sizeof buf, &got, WAIT_MS, wake_fd, &port_err);
        r->now_ns = time->monotonic_ns(time->user);
        r->wall_minus_mono_ns = time->wall_ns(time->user) - r->now_ns;
        if (rc == PORT_DATA)
            take_bytes(r, buf, got);
        look_at_clock(r);
        if (on_status)
            on_status(user, r);
    }
    switch (rc) {
    case PORT_END:
        *why = RECORDER_INPUT;
        break;
    case PORT_GONE:
        *why = RECORDER_GONE;
        recorder_say(r, NOTICE_WRONG, "cable_out", 0, NULL, "the port is gone: the cable is out, or the device is off");
        break;
    case PORT_ERR:
        *why = RECORDER_FAULT;
        notice_send(&r->sink, NOTICE_WRONG, "read_error", port_err.file, 0, port_err.mend, "%s: %s",
                    port_err.what, strerror(port_err.sys_errno));
        break;
    case PORT_WOKEN:
    case PORT_DATA:
    case PORT_QUIET:
        *why = RECORDER_ASKED;
        break;
    }
    return finish(r, *why, e);
}
