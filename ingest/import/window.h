/* A window over the bytes of the input: what is unread lies in one piece, however the bytes came. Whole lines are looked
 * at where they lie in a chunk; only lines and records that chunks cut in two are copied together.
 *
 * Bytes behind a loss (a damaged gzip member) are not let in until everything before it has been taken and
 * window_pass_break() was called: so nothing is ever joined across a loss, and what is seen does not depend on
 * the size of the chunks. WINDOW_SLACK bytes behind the data may be read (their content is arbitrary). */
#ifndef TIDEMARK_INGEST_IMPORT_WINDOW_H
#define TIDEMARK_INGEST_IMPORT_WINDOW_H

#include "ingest/bytes/bytes.h"

#include <stdint.h>

#define WINDOW_CAP   (256u << 10)
#define WINDOW_SLACK 16u
#define RECORD_MAX   (64u << 10) /* longest line (or quoted record), bytes */

struct window {
    struct bytes *bytes;
    char *buf;        /* WINDOW_CAP bytes, and the slack */
    const char *data; /* buf, or bytes of the chunk; valid until the next window_more */
    size_t from, to;  /* unread: data[from .. to) */
    size_t lines_to; /* behind the last line feed let in; at or before `from` where none is unread */
    struct bytes_chunk chunk;
    size_t chunk_used;
    bool have_chunk;
    bool at_break;      /* bytes were lost behind data[to) */
    bool end;           /* nothing follows data[to) */
    bool whole_members; /* each gzip member so far began at the start of a line */
    char last;          /* last byte let in */
};

int window_init(struct window *w, struct bytes *b, struct err *e) MUST_USE;
void window_free(struct window *w);

/* Lets in more. *grew is false at the end, at a break, and when the window is full. */
int window_more(struct window *w, bool *grew, struct err *e) MUST_USE;

/* At a break: drops what is left of the torn line (*torn: its bytes) and goes on behind the loss. *whole_line
 * tells that the next byte begins a line for certain. */
void window_pass_break(struct window *w, size_t *torn, bool *whole_line);

#endif
