/* A folder of outputs that appears whole or not at all.
 *
 * Files are written as NAME.part and renamed when all are complete, summary.json last: it holds the SHA-256 of the others,
 * and an old one is taken away before the first rename, so that a folder with a summary is a whole one. Not synced to
 * disk: after a power cut the sums in summary.json tell. */
#ifndef TIDEMARK_PROGRAM_FOLDER_H
#define TIDEMARK_PROGRAM_FOLDER_H

#include "ingest/notice.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct folder;
struct part_file;

/* Creates the folder (its parent must be there). A folder that holds one of `names` (NULL-ended) is refused unless force.
 * Errors name the path and the mend. */
int folder_open(struct folder **out, const char *path, const char *const *names, bool force, struct err *e) MUST_USE;

/* Opens NAME.part; more than 8 are a bug. The file belongs to the folder. */
int folder_file(struct folder *d, const char *name, struct part_file **out, struct err *e) MUST_USE;

/* A cells_write_fn: user is a struct part_file. The reason of a failure is kept for folder_why. */
int part_write(void *part_file, const void *data, size_t n);

/* Closes a file, so that its sum and size are final. */
int part_close(struct part_file *f) MUST_USE;
void part_sha256(const struct part_file *f, char hex[65]); /* of what was written */
uint64_t part_bytes(const struct part_file *f);
const char *part_name(const struct part_file *f);

/* What the first failed write, close or rename was; e->what is "" if none. */
void folder_why(const struct folder *d, struct err *e);

/* Closes what is open and gives all files their names, in the order in which they were opened. */
int folder_commit(struct folder *d) MUST_USE;

/* Removes what was not committed (and the folder, if it was created and is empty); frees. NULL is legal. */
void folder_close(struct folder *d);

#endif
