/* A recording as delimited text, so that reading it again gives the same samples, bit for bit: values stand in the source's
 * own unit with as many decimals as that takes. Gaps show in the times; marks have no place in it. */
#ifndef TIDEMARK_PROGRAM_TEXT_WRITE_H
#define TIDEMARK_PROGRAM_TEXT_WRITE_H

#include "analyze/tables/cells.h"
#include "ingest/sample.h"

struct text_writer;

/* Writes the header. info is copied. */
int text_writer_new(struct text_writer **out, const struct recording_info *info, cells_write_fn *write, void *user) MUST_USE;
int text_write_samples(struct text_writer *w, const struct sample_block *b) MUST_USE;
int text_write_close(struct text_writer *w) MUST_USE;
void text_writer_destroy(struct text_writer *w); /* NULL is legal */

#endif
