/* What bytes.c and resync.c share. */
#ifndef TIDEMARK_INGEST_BYTES_INTERNAL_H
#define TIDEMARK_INGEST_BYTES_INTERNAL_H

#include "ingest/bytes/bytes.h"
#include "ingest/bytes/member.h"

/* Inflated bytes that failed attempts to find a member's start may cost over the whole input: past that, what
 * follows is given up, so that hostile input can't make the search last for ever. */
#define RESYNC_BUDGET (UINT64_C(512) << 20)

struct bytes {
    const char *path;
    struct notice_sink sink;
    struct raw raw;
    uint64_t start_offset;
    struct inflater inflater;
    uint8_t *out; /* BYTES_MEMBER_MAX + 1 bytes; NULL for plain input */
    bool gzip;
    bool one_member;
    bool streaming;  /* inside a member too large to be held */
    bool torn;       /* the last chunk came from a torn member: say so, then end */
    bool ended;
    bool lost;       /* bytes were lost before the next chunk */
    bool have_held;  /* a chunk that bytes_peek looked at */
    struct bytes_chunk held;
    uint64_t members; /* good ones so far, for messages */
    size_t in_max;    /* the largest member's stored size lately: how far to read ahead */
    uint64_t budget;
};

enum resync_rc { RESYNC_FOUND, RESYNC_NONE, RESYNC_FAIL };

/* Moves the window's head to the next place, at least `skip` bytes on, where a member begins that inflates.
 * With only_whole, a member that the input's end cuts off does not count, and where none is found the window is
 * as it was (for input that lies whole in the window). */
enum resync_rc bytes_resync(struct bytes *b, size_t skip, bool only_whole, struct err *e) MUST_USE;

#endif
