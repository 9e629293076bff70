/* Reading the open log format as a struct source_ops (docs/log-format.md). Bounded memory; a damaged member
 * costs only itself and becomes a gap with its reason and the seconds lost. */
#ifndef TIDEMARK_INGEST_LOG_READ_H
#define TIDEMARK_INGEST_LOG_READ_H

#include "ingest/bytes/bytes.h"
#include "ingest/source.h"

/* True if data (the first bytes of the inflated input) begins a log. */
bool log_looks_like(const char *data, size_t n);

/* Bytes that were opened at a member's offset (log_index.h) give the recording's tail from there, at the
 * recording times that it has in the whole; with clock=host, at nearly those (the fit begins anew).
 * Takes over nothing: bytes stay the caller's and must outlive the reader. Reads the head before returning. */
int log_reader_new(void **self, const struct source_ops **ops, struct bytes *b, const char *path,
                   const struct notice_sink *sink, struct err *e) MUST_USE;

#endif
