/* The bytes of a file or of standard input, inflated where they are gzip (RFC 1952), with the truth about
 * damage: a torn, damaged or trailing part is told apart from a clean end.
 *
 * A member up to BYTES_MEMBER_MAX bytes (inflated) is handed on only after its CRC-32 and length held, so
 * damage costs that member and nothing else; a torn last member gives what inflates. A larger member
 * is streamed as it inflates, and damage found later is told when it is found. Zeros after the last member
 * are padding (told); other bytes there are trailing garbage (told). Memory is bounded whatever the input:
 * a decompression bomb streams through.
 *
 * Notices: `empty` (fatal), `torn`, `damaged_member`, `trailing_garbage` (wrong), `trailing_zeros` (note). A
 * notice comes after the data that stands before its cause. */
#ifndef TIDEMARK_INGEST_BYTES_H
#define TIDEMARK_INGEST_BYTES_H

#include "ingest/notice.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define BYTES_MEMBER_MAX (2u << 20)

struct bytes;

enum bytes_rc {
    BYTES_DATA, /* chunk holds at least one byte, or a break */
    BYTES_END,
    BYTES_ERR /* read failed: err says why */
};

struct bytes_chunk {
    const char *data; /* valid until the next call; not NUL-terminated */
    size_t n;
    bool starts_member; /* data begins at the start of a gzip member (plain input: at its first byte) */
    bool after_break;   /* bytes were lost just before data: a pending partial line is worthless */
    bool unverified;    /* data of a torn member, or of one too large to be checked before it is handed on */
    uint64_t offset;    /* of the first member in data (plain input: of its first byte) in the stored bytes */
};

/* path "-" is standard input. The sink is copied; path is borrowed for messages and must outlive it. */
int bytes_open(struct bytes **out, const char *path, const struct notice_sink *sink, struct err *e) MUST_USE;

/* The same, beginning at a member that starts `offset` stored bytes into a file (struct bytes_chunk gives such
 * offsets). bytes_sha256 then covers what is read only. TM_ERR_SYSTEM where the input can't be positioned. */
int bytes_open_at(struct bytes **out, const char *path, uint64_t offset, const struct notice_sink *sink,
                  struct err *e) MUST_USE;
uint64_t bytes_start_offset(const struct bytes *b);

enum bytes_rc bytes_next(struct bytes *b, struct bytes_chunk *out, struct err *e) MUST_USE;

/* From now on no chunk holds more than one member. Otherwise small members that follow each other whole are
 * handed on together. To be called before the first bytes_next or bytes_peek. */
void bytes_one_member(struct bytes *b);

/* Looks at the first bytes without consuming: at most n, some kilobytes. *got is less than n
 * at the end of the input or where a damaged member follows. To be called before the first bytes_next. */
int bytes_peek(struct bytes *b, size_t n, const char **data, size_t *got, struct err *e) MUST_USE;

bool bytes_is_gzip(const struct bytes *b);

/* For who stops before the end: reads on to the end of a large member that is being handed on, so that damage in what
 * was taken of it is told. */
int bytes_verify(struct bytes *b, struct err *e) MUST_USE;

/* SHA-256 of everything stored, reading on to the end of the input if needed. */
int bytes_sha256(struct bytes *b, char hex[65], struct err *e) MUST_USE;

void bytes_close(struct bytes *b);

#endif
