/* Shared by the tests of bytes and log: a file made of given bytes, and the notices that reading it gives. */
#ifndef TIDEMARK_TESTS_CHECK_BYTES_H
#define TIDEMARK_TESTS_CHECK_BYTES_H

#include "ingest/notice.h"

#include <stdbool.h>
#include <stddef.h>

/* Writes a temporary file; path has 64 bytes. The caller removes it. Aborts on failure. */
void make_file(char path[64], const void *data, size_t n);

/* Codes of the notices met, in order, separated by spaces. */
struct heard {
    char codes[4096];
    unsigned count, wrong;
};
struct notice_sink heard_sink(struct heard *h);
bool heard_code(const struct heard *h, const char *code);

/* All that bytes.h gives of a file, in one block (malloc'd; the caller frees it). Breaks are not marked. */
char *slurp(const char *path, size_t *n, struct heard *h);

#endif
