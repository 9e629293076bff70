/* The file a recording grows in: never over another file, whole pieces only, on the disk within a second.
 *
 * Pieces that the disk does not take (full, quota, fault) are cut off again at the last good length, so that
 * what stands in the file can always be read, and wait in memory for the next try; up to OUTFILE_WAITING_MAX
 * bytes of them, which is hours. */
#ifndef TIDEMARK_INGEST_OUTFILE_H
#define TIDEMARK_INGEST_OUTFILE_H

#include "ingest/notice.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define OUTFILE_WAITING_MAX (16u << 20)

struct outfile;

/* Creates path; an existing file of that name is an error. The folder's entry is on the disk on return. */
int outfile_create(struct outfile **out, const char *path, struct err *e) MUST_USE;

/* Adds to the piece in the making; nothing is written yet. TM_ERR_MEMORY: no room left for what waits. */
int outfile_add(struct outfile *f, const void *data, size_t n) MUST_USE;

/* Writes what waits and makes it durable. TM_ERR_SYSTEM: the disk did not take it (err says why); the file is
 * as it was, the bytes still wait, and a later call tries again. */
int outfile_commit(struct outfile *f, struct err *e) MUST_USE;

uint64_t outfile_good(const struct outfile *f);  /* bytes durable in the file */
size_t outfile_waiting(const struct outfile *f); /* bytes not in the file */

/* Closes and removes the file: nothing worth keeping came. */
void outfile_discard(struct outfile *f);

/* Closes; bytes that wait are given up. Returns TM_ERR_SYSTEM if closing tells of a fault. NULL is legal. */
int outfile_close(struct outfile *f, struct err *e) MUST_USE;

#endif
