/* Bytes from memory in place of ingest/bytes, cut into pieces as a test asks: so that a reader's independence of the
 * pieces can be shown, and losses made where a test wants them. */
#ifndef TIDEMARK_TESTS_IMPORT_FAKE_BYTES_H
#define TIDEMARK_TESTS_IMPORT_FAKE_BYTES_H

#include "ingest/bytes/bytes.h"

#include <stdint.h>

struct fake_part {
    const char *data;
    size_t n;
    bool after_break;   /* bytes were lost before it */
    bool starts_member;
};

/* most: largest piece, 0 for whole parts; seed 0: always the largest. */
struct bytes *fake_bytes(const struct fake_part *parts, size_t n_parts, size_t most, uint32_t seed);

#endif
