/* The stored bytes: a sliding window over a file or standard input, hashed as they are read.
 *
 *      data:  | done | avail ........ | room |
 *             0      head             fill   cap
 *
 * The window grows up to RAW_CAP, and only as far as somebody asks for, so that memory that is not needed is
 * never touched. */
#ifndef TIDEMARK_INGEST_BYTES_RAW_H
#define TIDEMARK_INGEST_BYTES_RAW_H

#include "ingest/notice.h"

#include <nettle/sha2.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RAW_STEP (128u << 10)             /* bytes read at a time */
#define RAW_CAP  ((2u << 20) + (256u << 10)) /* a member of incompressible 2 MiB fits whole */

struct raw {
    int fd;
    bool own_fd;
    bool eof;
    uint8_t *data;
    size_t cap, head, fill;
    uint64_t offset; /* of data[head] in the stored bytes */
    struct sha256_ctx sha;
};

/* path "-" is standard input. On failure nothing needs release. */
int raw_open(struct raw *r, const char *path, struct err *e) MUST_USE;
int raw_seek(struct raw *r, uint64_t offset, const char *path, struct err *e) MUST_USE; /* before any read */
void raw_close(struct raw *r);

static inline const uint8_t *raw_at(const struct raw *r)
{
    return r->data + r->head;
}
static inline size_t raw_avail(const struct raw *r)
{
    return r->fill - r->head;
}
void raw_drop(struct raw *r, size_t n); /* n <= raw_avail */

/* Reads until at least `want` bytes are there, or the input ends. Callers ask for RAW_CAP and a little at most.
 * Pointers from raw_at become invalid. Reads in whole steps, so what is in the window depends on the bytes alone, not on how a pipe
 * delivered them. */
int raw_want(struct raw *r, size_t want, const char *path, struct err *e) MUST_USE;

/* One read, whatever it gives: for text that somebody may be typing. */
int raw_some(struct raw *r, const char *path, struct err *e) MUST_USE;

#endif
