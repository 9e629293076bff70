/* What the reader's files share.
 *
 * Lines are taken up one by one. Samples gather in one block from time line to time line, for only the next time
 * line's count tells whether they may be believed; then the block, the marks that stood among them and a gap, if
 * one is due, are handed on, and only after that is the next line taken up. */
#ifndef TIDEMARK_INGEST_LOG_READ_INTERNAL_H
#define TIDEMARK_INGEST_LOG_READ_INTERNAL_H

#include "ingest/bytes/bytes.h"
#include "ingest/log/head.h"
#include "ingest/log/host_fit.h"
#include "ingest/log/line_feed.h"
#include "ingest/log/step.h"
#include "ingest/source.h"

#define MARKS_MAX 64 /* between two time lines; more are passed over, said */

struct placed_mark {
    size_t at; /* samples of the block that come before it */
    struct mark mark;
};

struct log_reader {
    struct bytes *bytes;
    const char *path;
    struct notice_sink sink;

    struct line_feed feed;
    uint64_t line;       /* number of the line under way, 1-based */

    /* head */
    struct log_head head;    /* that the samples stand under */
    struct log_head next;    /* being read */
    bool in_head, have_head;
    bool head_refused; /* the last head can't go on from the first: its samples are refused */
    struct recording_info info;
    int64_t step_ns;   /* nominal, where it is whole nanoseconds; else 0 */

    /* time; everything but origin_ns in recording time */
    int64_t origin_ns;  /* source time of recording time 0 */
    bool any_time_line;
    bool count_unknown; /* the next count counts lines that were lost */
    int64_t since;      /* sample lines since the last time line */
    bool timed;         /* a time line gave the samples at hand their time */
    bool refusing;      /* time fell: samples are refused until it is beyond last_ns again */
    bool clock_event, clock_step_known;
    int64_t anchor_ns, k; /* the next sample is k steps after anchor */
    int64_t prev_ns;      /* the sample before, of the source's or the arrival's time */
    int64_t last_ns;      /* last sample taken into a block or handed on; -1: none */
    int64_t sent_ns;      /* last sample handed on; -1: none */
    struct host_fit fit;

    /* gathered */
    struct sample_block block;
    bool overflow;
    struct placed_mark marks[MARKS_MAX];
    size_t n_marks;
    char gap_reason[32]; /* "": no gap is due */

    /* being handed on */
    bool ready, gap_ready;
    size_t sent, left, marks_sent; /* samples handed on last and still to come; marks handed on */
    struct gap gap;

    uint64_t total;   /* sample lines seen */
    bool lost;        /* members were lost: the total can't match */
    bool say_lost;    /* how long the gap is that this reading found damaged */
    bool closed, closed_well, over;
    bool said_unknown_line, said_unknown_head;
    bool failed; /* new(): the head can't be used */
    struct err fault;
};

/* One whole line, without LF. */
void reader_line(struct log_reader *r, const char *p, size_t n);

/* Takes up plain sample lines from p on, as many as there are; returns where the first other line begins. */
const char *reader_fast_samples(struct log_reader *r, const char *p, const char *end);

/* Takes up one sample line. */
void reader_sample_line(struct log_reader *r, const char *p, size_t n);
void reader_time_line(struct log_reader *r, const char *p, size_t n);
/* A sample line that is not of the grammar keeps its place as a sample without values. */
void reader_missing_sample(struct log_reader *r);

/* A gap is due before the next sample; the first reason stays. */
void reader_gap_due(struct log_reader *r, const char *reason, size_t n);

/* What is gathered may be handed on (good) or is dropped. */
void reader_release(struct log_reader *r, bool good);

/* Ends the head under way; sets r->failed where the log can't be read. */
void reader_head_done(struct log_reader *r);

/* The input has ended. */
void reader_finish(struct log_reader *r);

#endif
