/* One output file that appears whole or not at all: written as PATH.part, synced and renamed. */
#ifndef TIDEMARK_PROGRAM_ONE_FILE_H
#define TIDEMARK_PROGRAM_ONE_FILE_H

#include "ingest/notice.h"

#include <stdbool.h>
#include <stddef.h>

struct one_file;

/* An existing PATH is refused unless force. */
int one_file_open(struct one_file **out, const char *path, bool force, struct err *e) MUST_USE;

/* A log_write_fn and cells_write_fn: user is a struct one_file. The first failure sticks. */
int one_file_write(void *one_file, const void *data, size_t n);
bool one_file_failed(const struct one_file *f, struct err *e);
int one_file_commit(struct one_file *f, struct err *e) MUST_USE;

/* Removes what was not committed. NULL is legal. */
void one_file_close(struct one_file *f);

#endif
