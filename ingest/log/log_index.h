/* Where the members of a log begin, in stored bytes and in recording time, so that a reader can start at any of
 * them: bytes_open_at(offset), then log_reader_new. */
#ifndef TIDEMARK_INGEST_LOG_INDEX_H
#define TIDEMARK_INGEST_LOG_INDEX_H

#include "ingest/notice.h"

#include <stddef.h>
#include <stdint.h>

#define LOG_INDEX_MAX 1000000 /* members; a year of 60 s is 525600 */

struct log_index_entry {
    uint64_t offset; /* stored bytes before the member */
    int64_t t_ns;    /* recording time of its first time line */
};

struct log_index {
    size_t n, cap;
    struct log_index_entry *entry; /* owned; in order of offset */
};

/* Reads the whole file (a log in gzip; a plain one has a single entry). Members without head or time line are left
 * out. On failure *out holds nothing. */
int log_index_build(struct log_index *out, const char *path, const struct notice_sink *sink, struct err *e) MUST_USE;

/* The last member that begins at or before t_ns; the first where none does; NULL if there are none. */
const struct log_index_entry *log_index_find(const struct log_index *x, int64_t t_ns);

void log_index_free(struct log_index *x);

#endif
