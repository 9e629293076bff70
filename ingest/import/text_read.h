/* Reading delimited text (CSV and its kin) as a struct source_ops. What is recognised, assumed and refused is
 * told in docs/import.md. Bounded memory, whatever the length of a line. */
#ifndef TIDEMARK_INGEST_TEXT_READ_H
#define TIDEMARK_INGEST_TEXT_READ_H

#include "ingest/bytes/bytes.h"
#include "ingest/source.h"

/* bytes stay the caller's and must outlive the reader. Reads the first lines before returning, so that
 * unknown columns and units fail here. */
int text_reader_new(void **self, const struct source_ops **ops, struct bytes *b, const char *path,
                    const struct import_opts *o, const struct notice_sink *sink, struct err *e) MUST_USE;

#endif
