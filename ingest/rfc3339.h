/* RFC 3339 date and time, to and from nanoseconds since 1970-01-01T00:00:00Z.
 *
 * Taken: `T` or `t` or a blank between date and time, `Z`, `z` or an offset of up to 23:59 either way
 * (`-00:00`, offset unknown, is read as 0), any number of decimals (what is finer than 1 ns is cut off).
 * A leap second (23:59:60 UTC) is valid and is the same moment as the 00:00:00 after it.
 * Refused: no offset, a decimal comma, 24:00, a day that does not exist, years that int64 nanoseconds do not
 * hold (before 1678, after 2261). */
#ifndef TIDEMARK_INGEST_RFC3339_H
#define TIDEMARK_INGEST_RFC3339_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RFC3339_BUF 36 /* 2026-03-04T22:30:03.123456789+01:00 and NUL */

/* The whole of text (n bytes) must match. *offset_min (may be NULL): minutes east of UTC. */
bool rfc3339_parse(const char *text, size_t n, int64_t *unix_ns, int *offset_min);

/* Writes the time as a clock at that offset shows it, with `places` decimals (0..9, cut, not rounded), `Z` for
 * offset 0; NUL-terminated; returns the length. */
size_t rfc3339_format(char buf[RFC3339_BUF], int64_t unix_ns, int offset_min, int places);

#endif
