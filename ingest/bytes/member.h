/* One gzip member (RFC 1952), inflated from the window of stored bytes.
 *
 * A member that lies whole in the window goes through libdeflate, anything else through zlib; header and trailer
 * are checked here, so both ways agree on what is good. */
#ifndef TIDEMARK_INGEST_BYTES_MEMBER_H
#define TIDEMARK_INGEST_BYTES_MEMBER_H

#include "ingest/bytes/raw.h"

#ifndef ZLIB_CONST
#define ZLIB_CONST /* next_in points at const */
#endif
#include <zlib.h>

struct libdeflate_decompressor;

struct inflater {
    struct libdeflate_decompressor *fast;
    z_stream z;
    bool z_ready;
    uint32_t crc;    /* of a streamed member, so far */
    uint32_t length; /* modulo 2^32, likewise */
    uint64_t slow;   /* members that zlib had to take, for tests */
};

enum member_rc {
    MEMBER_GOOD,    /* CRC-32 and length hold */
    MEMBER_DAMAGED, /* header, deflate data, CRC-32 or length is wrong */
    MEMBER_TORN,    /* the input ends within it */
    MEMBER_FULL,    /* does not fit into cap bytes */
    MEMBER_FAIL     /* reading failed or memory ran out: err */
};

struct member {
    size_t in;       /* stored bytes used, from the window's head */
    size_t out;      /* inflated bytes written */
    const char *why; /* MEMBER_DAMAGED: what is wrong */
};

enum header_rc { HEADER_OK, HEADER_SHORT, HEADER_BAD };

/* *len: bytes of the header at p. */
enum header_rc member_header(const uint8_t *p, size_t n, size_t *len);

int inflater_init(struct inflater *f) MUST_USE; /* TM_ERR_MEMORY */
void inflater_free(struct inflater *f);

/* Decodes the member at the window's head into out, which has cap + 1 bytes. Consumes nothing; may read on.
 * MEMBER_FULL: m->in and m->out say how far it got, and member_stream may go on from there after the caller has
 * taken the m->out bytes and dropped the m->in ones (m->out is then cap + 1, or the window is at its largest).
 */
enum member_rc member_decode(struct inflater *f, struct raw *r, uint8_t *out, size_t cap, struct member *m,
                             const char *path, struct err *e) MUST_USE;

/* The next piece of a member that member_decode could not hold: up to cap bytes. Consumes what it uses.
 * MEMBER_FULL: more is to come. */
enum member_rc member_stream(struct inflater *f, struct raw *r, uint8_t *out, size_t cap, struct member *m,
                             const char *path, struct err *e) MUST_USE;

#endif
