/* Lines, records and fields of delimited text (RFC 4180, with LF, CRLF or CR alone as line ends).
 *
 * A quote opens a quoted field only at the field's start (spaces before it are passed over); anywhere else it is an
 * ordinary character. A quoted field may hold line ends. Where a quote is never closed within RECORD_MAX bytes, or
 * something other than a delimiter follows the closing quote, only the line on which it opened is given up. */
#ifndef TIDEMARK_INGEST_IMPORT_RECORD_H
#define TIDEMARK_INGEST_IMPORT_RECORD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum record_kind {
    REC_MORE,     /* no whole record yet */
    REC_ROW,
    REC_BLANK,    /* nothing but spaces */
    REC_COMMENT,  /* begins with # or % */
    REC_UNCLOSED, /* a quoted field without end */
    REC_STRAY,    /* something behind a closing quote */
    REC_BINARY,   /* a NUL byte in it */
    REC_LONG      /* over RECORD_MAX: its first bytes; the rest is to be passed over up to the line end */
};

struct record {
    enum record_kind kind;
    const char *p;
    size_t n;       /* without the line end */
    size_t used;    /* with it */
    uint64_t lines; /* line ends in it */
};

/* The first record of p[0..n). final: nothing follows, so that a last line without its end counts. */
struct record record_take(const char *p, size_t n, char delimiter, bool final);

/* Passes over the rest of a long line: the bytes up to and with its end, or n where it is not yet there (*done
 * is false then). */
size_t record_pass(const char *p, size_t n, bool final, bool *done);

struct field {
    const char *p;
    size_t n; /* spaces around it and quotes taken off */
};

/* Splits a record into at most max fields; returns how many it has. Space as the delimiter: runs of spaces are one. */
size_t record_split(const struct record *r, char delimiter, struct field *f, size_t max);

#endif
