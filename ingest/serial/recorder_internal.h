/* Shared by the recorder's own files; nobody else includes it. */
#ifndef TIDEMARK_INGEST_RECORDER_INTERNAL_H
#define TIDEMARK_INGEST_RECORDER_INTERNAL_H

#include "ingest/log/head.h"
#include "ingest/log/line.h"
#include "ingest/log/log_write.h"
#include "ingest/serial/assemble.h"
#include "ingest/serial/outfile.h"
#include "ingest/serial/recorder.h"

#define RECORDER_HOLD_NS   (NS_PER_S * 6 / 5) /* a source with a clock has sent a time line by then */
#define RECORDER_STALE_NS  (NS_PER_S * 3 / 2) /* no time line for so long: what waits for it is written */
#define RECORDER_SYNC_NS   NS_PER_S
#define RECORDER_RESYNC_NS (NS_PER_S / 2) /* a time line asks for a sync, but not more often than this */
#define RECORDER_PILE_MAX  (1u << 20)     /* bytes from a fast source that ask for a sync */
#define RECORDER_LATE_NS   (NS_PER_S / 2) /* host clock: later than its rate says by so much is a hole */
#define RECORDER_EARLY_NS  (NS_PER_S / 1000) /* host clock: earlier by so much is written as it was */
#define RECORDER_NO_HEAD_NS (90 * NS_PER_S) /* a source that restates its head has done so by then */

enum recorder_phase {
    PHASE_HOLD,   /* the clock is not yet known: samples wait in `pending` with their arrival times */
    PHASE_SOURCE, /* the source's times; samples wait in `pending` for the next time line */
    PHASE_HOST    /* arrival times; samples are written as they come */
};

/* Times between time lines, as the log's writer and reader have them (ingest/log/step.h): sample k is k nominal
 * steps after the anchor, which is the time line or the last sample with a step of its own. */
struct recorder_pace {
    bool known;        /* a time line came (source), a sample came (host) */
    bool fresh;        /* no sample since the time line */
    int64_t anchor_ns;
    int64_t k;
    int64_t last_ns;
    int64_t second_ns; /* host: from this time on a time line is due */
    int64_t lines;     /* host: sample lines since the last one */
};

/* A line about the source's clock, kept until the time line after it. */
struct recorder_clock_note {
    bool given;
    bool step_known;
    int64_t step_ns;
    char what[32];
};

#define RECORDER_MARKS_HELD 8

/* A mark of the source, in the source's times. */
struct recorder_mark {
    struct mark mark;
    bool entered_known, entered_is_wall;
    uint64_t line;
};

struct recorder {
    struct recorder_opts o;
    struct notice_sink sink;
    struct recording_info info;
    enum channel column[RECORDER_COLUMNS_MAX];
    double factor[RECORDER_COLUMNS_MAX];
    int places[RECORDER_COLUMNS_MAX]; /* decimals seen while holding */
    size_t columns;
    struct log_head head, adopted; /* being received; first complete one */
    bool in_head, head_bad, head_regular, has_adopted, said_head_unused;
    uint64_t head_line;
    uint64_t headless; /* sample lines before anything said what they hold */
    int64_t headless_since_ns;

    struct outfile *file;      /* NULL after the end */
    uint64_t bytes_durable;    /* after the end */
    struct log_writer *writer; /* NULL until the first sample is written */
    struct err fault;          /* why rc is not TM_OK */
    int rc;

    struct assemble wire;
    enum recorder_phase phase;
    struct recorder_pace pace;
    struct recorder_clock_note clock_note;
    struct recorder_mark held[RECORDER_MARKS_HELD]; /* came before the log began, as its first samples wait */
    size_t n_held;
    struct sample_block pending;
    int64_t arrival_ns[BLOCK_CAP]; /* of pending's samples */
    struct sample_block one;       /* on its way to the writer */
    int64_t lines_since;     /* sample lines since the last time line; LINE_NO_COUNT: a time line was lost */
    bool times_lost;         /* until the next time line no sample's time is known */
    int64_t zero_ns;         /* source's (host: monotonic) time of recording time 0 */
    int64_t written_ns;      /* recording time of the newest sample in the log; -1: none */
    int64_t written_arrival_ns;

    int64_t now_ns;          /* monotonic, of the bytes being taken */
    int64_t wall_minus_mono_ns;
    int64_t listening_ns;    /* when listening began */
    int64_t first_ns, newest_ns; /* arrival of samples; -1: none */
    int64_t newest_any_ns;   /* of any byte; -1: none */
    int64_t synced_ns;       /* last attempt */
    bool unsynced;           /* something was written since */
    bool silent;             /* said */
    bool silence_gap;        /* silence is to be written as a gap before the next sample (host clock) */
    bool disk_trouble;
    bool said_time_line, said_no_time_line, said_unchecked, said_rate;
    int64_t rate_from_ns, rate_count; /* host: to compare the rate with what is declared */
    uint64_t samples, missing, bad_lines;
    double last_paw_cmh2o, last_flow_l_s;
};

/* -- recorder.c -- */
void recorder_say(struct recorder *r, enum notice_level level, const char *code, uint64_t line, const char *mend,
                  const char *fmt, ...) PRINTF_LIKE(6, 7);
void recorder_fail(struct recorder *r, int rc, const char *mend, const char *what);

/* -- recorder_line.c -- */
void recorder_take_line(void *recorder, const struct wire_line *line); /* a wire_line_fn */
/* Marks that came before the log began: into it (source's clock), or said to be lost (host's). */
void recorder_let_marks_go(struct recorder *r);

/* -- recorder_head.c -- */
/* Columns and their factors, from info and the options. */
int recorder_set_columns(struct recorder *r, struct err *e) MUST_USE;
/* A head line of the source; a bad one is said and passed over. */
void recorder_take_head(struct recorder *r, const struct wire_line *line);
/* A line that is none: what was received is checked and taken. */
void recorder_end_head(struct recorder *r);
/* Begins the log with the sample that arrived at arrival_ns and has this time on the source's clock (host: 0). */
void recorder_start_log(struct recorder *r, enum clock_kind clock, int64_t source_ns, int64_t arrival_ns);

/* -- recorder_times.c: samples and their times -- */
/* The next sample line; NULL: damaged, it keeps its place. */
void recorder_take_sample(struct recorder *r, const struct line_sample *s, uint64_t line);
void recorder_take_time(struct recorder *r, const struct line_time *t, uint64_t line);
/* Ends the holding back, if a clock can be settled. */
void recorder_leave_hold(struct recorder *r, enum recorder_phase phase);
void recorder_write_pending(struct recorder *r);
void recorder_write_gap(struct recorder *r, const char *reason, int64_t to_ns);

/* -- recorder_run.c -- */
/* Makes durable what is written; a disk that refuses is said once and tried again by the next call. */
void recorder_sync(struct recorder *r);

#endif
