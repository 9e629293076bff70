/* Lines from a port into a log that is durable within two seconds.
 *
 * Times. A source that sends time lines has a clock: its times are kept. One that sends none gets the arrival
 * times of its lines from the monotonic clock here, and the log's head says clock=host. Which of the two it is
 * shows in the first 1.2 s, which are held back for it. Host wall and monotonic time stand on every time line.
 *
 * Trust. The samples of a source with a clock wait for the next time line, whose count says whether lines were
 * lost between: if so, that second becomes a gap with its reason and no sample is shifted. A sample line that
 * is damaged keeps its place as one missing sample.
 *
 * Durability. What came is on the disk 1 s later, plus the time the disk takes; a second of a source with a
 * clock is on the disk when the time line after it has come. A full disk costs nothing until OUTFILE_WAITING_MAX
 * bytes wait (outfile.h). */
#ifndef TIDEMARK_INGEST_RECORDER_H
#define TIDEMARK_INGEST_RECORDER_H

#include "ingest/sample.h"
#include "ingest/serial/port.h"

#define RECORDER_COLUMNS_MAX 16
#define RECORDER_SILENCE_NS  (5 * NS_PER_S) /* 5 s: common practice, no source */

struct recorder;

enum recorder_clock { RECORDER_CLOCK_AUTO, RECORDER_CLOCK_SOURCE, RECORDER_CLOCK_HOST };

/* Where time comes from; tests bring their own. */
struct recorder_time {
    int64_t (*monotonic_ns)(void *user);
    int64_t (*wall_ns)(void *user); /* since 1970 */
    void *user;
};

struct recorder_opts {
    const char *path; /* of the log; borrowed until recorder_free */
    bool plain;       /* text without gzip */
    /* What the command line says: subject, airway ... and, with columns > 0, channels, units and rate of a
     * source that sends no head. With columns 0 the source's own head is waited for. */
    struct recording_info info;
    enum channel column[RECORDER_COLUMNS_MAX];
    size_t columns;
    enum recorder_clock clock;
    int start_offset_min; /* of local time, minutes east of UTC */
    const char *caution;  /* for the log's head; borrowed */
    struct recorder_time time;
};

/* Everything unknown, the system's clocks. */
void recorder_opts_defaults(struct recorder_opts *o);

/* Creates the log file. sink is copied; it hears of junk, gaps, silence and disk trouble as they happen. */
int recorder_new(struct recorder **out, const struct recorder_opts *o, const struct notice_sink *sink,
                 struct err *e) MUST_USE;

/* Why a recording ended. */
enum recorder_end {
    RECORDER_ASKED, /* somebody asked: a signal */
    RECORDER_INPUT, /* a file, a pipe or standard input ended */
    RECORDER_GONE,  /* the cable was pulled: the log has a gap `cable-out` */
    RECORDER_FAULT  /* reading failed: the log has a gap `read-error` */
};

/* Reads the port until it ends or wake_fd (may be -1) becomes readable, then closes the log well. *why is set
 * unless the log itself can't go on. on_status (may be NULL) is called after each read, and at least four times
 * a second. Returns TM_OK; TM_ERR_INPUT: no sample came, and there is no log; else the log could not be written to its
 * end, and err says why: what is in it can be read. */
typedef void recorder_status_fn(void *user, const struct recorder *r);
int recorder_run(struct recorder *r, struct port *port, int wake_fd, recorder_status_fn *on_status, void *user,
                 enum recorder_end *why, struct err *e) MUST_USE;

struct recorder_status {
    uint64_t samples;         /* sample lines kept, missing ones included */
    uint64_t missing;         /* of these, damaged ones */
    uint64_t bad_lines;       /* lines that could not be used */
    int64_t since_start_ns;   /* since the first sample came; 0: none yet */
    int64_t newest_age_ns;    /* since the newest sample came; -1: none yet */
    int64_t listening_ns;     /* since listening began */
    uint64_t bytes_durable;   /* in the log */
    uint64_t bytes_waiting;   /* that the disk did not take yet */
    bool disk_trouble;        /* the last attempt to write failed */
    double last_paw_cmh2o, last_flow_l_s; /* NAN: not measured or none yet */
};
void recorder_status(const struct recorder *r, struct recorder_status *out);

/* Removes the log: the port could not be opened. Only before recorder_run. */
void recorder_discard(struct recorder *r);

/* Frees; what is not in the log by then is lost (recorder_run leaves nothing). NULL is legal. */
void recorder_free(struct recorder *r);

#endif
