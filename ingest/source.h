/* One recording as a stream of items, wherever it comes from.
 *
 * source_open() looks at the first bytes: gzip or plain, then our log (`%tidemark`) or delimited text.
 * "-" is standard input. Times are recording times; items come in time order; samples strictly rise.
 * Memory is bounded whatever the input holds. */
#ifndef TIDEMARK_INGEST_SOURCE_H
#define TIDEMARK_INGEST_SOURCE_H

#include "ingest/sample.h"

enum src_rc {
    SRC_ITEM,  /* *out is filled, valid until the next call */
    SRC_QUIET, /* live sources only: nothing within the wait */
    SRC_END,   /* clean or reported end; everything good was delivered */
    SRC_GONE,  /* live sources only: the port went away */
    SRC_ERR    /* struct err says why; what was delivered before stays good */
};

/* How delimited text is to be read. All as typed by the user; NULL, 0, NAN or false: not given. */
struct import_opts {
    const char *columns;       /* "time=t_s,pressure=2,flow=flow_lps[,flow_in=..,flow_out=..,volume=..,pes=..]" */
    const char *flow_unit;     /* L/s, L/min, mL/s, uncalibrated */
    const char *pressure_unit; /* cmH2O, mbar, hPa, kPa */
    const char *time_unit;     /* s, ms, clock */
    const char *delimiter;     /* one of , ; tab space, or the character itself */
    bool decimal_comma;
    const char *invert;        /* "flow", "pressure", "flow,pressure" */
    double rate_hz;            /* no time column: samples at this rate */
    long average;              /* average each N samples into one */
    const char *start;         /* RFC 3339 time of the first sample */
    int header;                /* 0 find out, 1 there is one, -1 there is none */
};

void import_opts_defaults(struct import_opts *o);

struct source;

/* On success *out is owned by the caller (source_close). sink is copied. */
int source_open(struct source **out, const char *path, const struct import_opts *o,
                const struct notice_sink *sink, struct err *e) MUST_USE;

enum src_rc source_next(struct source *s, struct item *out, struct err *e) MUST_USE;

/* Valid from source_open on; first_source_ns and start from the first item on. Never NULL. */
const struct recording_info *source_info(const struct source *s);

/* SHA-256 (hex, 64 characters and NUL) of all bytes of the input as stored. Only after SRC_END or SRC_ERR;
 * reads on to the end of the input if the reader stopped early. */
int source_sha256(struct source *s, char hex[65], struct err *e) MUST_USE;

/* "log" or "text"; and whether a log had its closing line. */
const char *source_format(const struct source *s);
bool source_closed_well(const struct source *s);

void source_close(struct source *s); /* NULL is legal */

/* What a reader implements. `self` is the reader's own. */
struct source_ops {
    const char *format;
    enum src_rc (*next)(void *self, struct item *out, struct err *e);
    const struct recording_info *(*info)(const void *self);
    bool (*closed_well)(const void *self);
    void (*close)(void *self); /* releases self and the bytes below it are left to source_close */
};

#endif
