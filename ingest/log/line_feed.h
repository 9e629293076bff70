/* Chunks of bytes into whole lines. A line that lies in one chunk is not copied. */
#ifndef TIDEMARK_INGEST_LOG_LINE_FEED_H
#define TIDEMARK_INGEST_LOG_LINE_FEED_H

#include "ingest/log/line.h"

struct line_feed {
    const char *p, *end; /* of the chunk, not yet taken up */
    size_t carry_n;      /* beginning of a line whose rest is in the next chunk */
    bool too_long;       /* that line is longer than the grammar allows; carry[0] is its first byte */
    char carry[LINE_MAX_BYTES + 1];
};

enum feed_rc {
    FEED_LINE,
    FEED_LONG, /* a line of more than LINE_MAX_BYTES: *p is its first byte alone */
    FEED_MORE  /* the chunk is used up */
};

/* data is borrowed until the chunk is used up. */
void line_feed_chunk(struct line_feed *f, const char *data, size_t n);

/* Forgets the beginning of a line whose rest was lost. */
void line_feed_break(struct line_feed *f);

/* The next line without its LF; valid until the next call. */
enum feed_rc line_feed_next(struct line_feed *f, const char **p, size_t *n);

#endif
