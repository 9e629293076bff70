/* Bytes to lines, whatever the pieces they arrive in, with the wire's checksum (ingest/log/line.h).
 *
 *     wire line = line [SP "$" 4HEXDIG] LF        (a CR before LF is dropped)
 *
 * Junk costs the line in which it stands and nothing more: the next LF is the ground to stand on again. */
#ifndef TIDEMARK_INGEST_ASSEMBLE_H
#define TIDEMARK_INGEST_ASSEMBLE_H

#include "ingest/log/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define WIRE_LINE_MAX (LINE_MAX_BYTES + 7) /* bytes before the LF: a line, its checksum, a CR */

enum wire_state {
    WIRE_PLAIN,   /* no checksum */
    WIRE_CHECKED, /* checksum right, and cut off */
    WIRE_BAD_CRC, /* checksum wrong, and cut off; the text can't be trusted */
    WIRE_JUNK,    /* bytes that no line has: control characters or above 126 */
    WIRE_LONG     /* longer than WIRE_LINE_MAX: text holds the first part */
};

struct wire_line {
    enum wire_state state;
    const char *text; /* NUL-terminated after n bytes; valid during the call only */
    size_t n;
    uint64_t number; /* 1-based, of all lines, good and bad; empty ones are skipped but counted */
    uint64_t offset; /* of its first byte in the stream */
    uint64_t length; /* bytes on the wire without the LF */
    bool first;      /* it may have begun before we listened */
};

typedef void wire_line_fn(void *user, const struct wire_line *line);

/* Plain: owned by the caller, no release. */
struct assemble {
    char buf[WIRE_LINE_MAX + 1];
    size_t n;        /* bytes in buf */
    uint64_t length; /* bytes of the present line, kept or not */
    uint64_t offset;
    uint64_t number; /* lines ended so far */
    bool junk;
};

void assemble_init(struct assemble *a);
void assemble_push(struct assemble *a, const void *bytes, size_t n, wire_line_fn *on_line, void *user);

/* Bytes of a line that has not ended; it is given up: the stream ended or broke here. */
uint64_t assemble_drop(struct assemble *a);

#endif
