/* Marks typed elsewhere: a small CSV with a header of at_s (seconds of recording time) or time (RFC 3339), kind, and
 * optionally text. Quotes as in RFC 4180, but a cell ends with its line. */
#ifndef TIDEMARK_PROGRAM_MARKS_FILE_H
#define TIDEMARK_PROGRAM_MARKS_FILE_H

#include "ingest/sample.h"

#define MARKS_MAX 10000

struct marks {
    size_t n;
    struct mark *mark; /* in order of time; equal times as in the file */
    size_t next;       /* the first that marks_next has not given */
};

/* info tells when the recording began, for a `time` column. Owned by the caller (marks_free). */
int marks_load(struct marks **out, const char *path, const struct recording_info *info, struct err *e) MUST_USE;

/* The next mark meant before t_ns, or NULL. */
const struct mark *marks_next(struct marks *m, int64_t t_ns);
void marks_free(struct marks *m); /* NULL is legal */

#endif
