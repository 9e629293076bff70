/* One line of the log's grammar (docs/log-format.md), as it stands in a log or comes down a wire. Parsing only:
 * what a line means in its place is the reader's business. Nothing allocates; pointers point into the line. */
#ifndef TIDEMARK_INGEST_LOG_LINE_H
#define TIDEMARK_INGEST_LOG_LINE_H

#include "ingest/sample.h"

#define LINE_MAX_BYTES 4096 /* longest legal line, without its LF */
#define LINE_FIELDS    16   /* channels that a line may carry */
#define LINE_NO_COUNT  INT64_C(-1)

enum line_kind {
    LINE_SAMPLE, /* digit , - + */
    LINE_TIME,   /* @ */
    LINE_HEAD,   /* % */
    LINE_MARK,   /* ! */
    LINE_GAP,    /* ~ */
    LINE_CLOCK,  /* ^ */
    LINE_CLOSE,  /* . */
    LINE_EMPTY,  /* nothing at all */
    LINE_OTHER   /* a kind of a later version: to be passed over */
};

/* By the first byte alone. */
enum line_kind line_kind(const char *p, size_t n);

enum line_crc { LINE_CRC_NONE, LINE_CRC_GOOD, LINE_CRC_BAD };

/* Looks for ` $hhhh` at the end of the line (after an LF and a CR were taken off) and checks it. *n is set to the
 * length without it (also where it is bad). */
enum line_crc line_strip_crc(const char *p, size_t *n);

/* Appends ` $HHHH` to the n bytes at p, which has room for 6 more; returns the new length. */
size_t line_add_crc(char *p, size_t n);

struct line_sample {
    int64_t step_ns;           /* -1: none given */
    size_t n;                  /* fields */
    double value[LINE_FIELDS]; /* as written, in the file's units; NAN where empty */
};
/* False: not of the grammar. */
bool line_parse_sample(const char *p, size_t n, struct line_sample *out);

struct line_time {
    int64_t t_ns;
    int64_t count; /* LINE_NO_COUNT: "-" */
    bool has_host;
    int64_t wall_ns;      /* since 1970 */
    int64_t monotonic_ns;
};
bool line_parse_time(const char *p, size_t n, struct line_time *out);

struct line_mark {
    int64_t at_ns;         /* source time */
    bool entered_known;
    bool entered_is_wall;  /* entered_ns is since 1970; else source time */
    int64_t entered_ns;
    const char *kind;
    size_t kind_n;
    const char *text; /* key=value ..., may be empty */
    size_t text_n;
};
bool line_parse_mark(const char *p, size_t n, struct line_mark *out);

struct line_gap {
    const char *reason;
    size_t reason_n;
    int64_t lost_ns; /* -1: not said */
};
bool line_parse_gap(const char *p, size_t n, struct line_gap *out);

struct line_clock {
    const char *what;
    size_t what_n;
    bool step_known;
    int64_t step_ns; /* the source's clock jumped by so much against true time */
};
bool line_parse_clock(const char *p, size_t n, struct line_clock *out);

bool line_parse_close(const char *p, size_t n, uint64_t *count);

/* Percent-encoding of text values: space, `%`, `;`, `=`, control characters and bytes above 7E. Writes at most
 * cap - 1 bytes and NUL, never half an escape; returns the length. */
size_t line_encode(char *dst, size_t cap, const char *src);
/* The inverse; a `%` without two hex digits stays as it is. NUL-terminated, cut to cap - 1. */
size_t line_decode(char *dst, size_t cap, const char *src, size_t n);

#endif
