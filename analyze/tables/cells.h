/* Rows of delimited text: RFC 4180, but lines end in LF. Quotes only where needed.
 *
 * A writer collects bytes and hands them on in pieces of up to CELLS_CAP bytes, whole rows only, so that what has been
 * handed on never ends within a row. The first failure of the sink sticks; rows after it are dropped. */
#ifndef TIDEMARK_TABLES_CELLS_H
#define TIDEMARK_TABLES_CELLS_H

#include "ingest/sample.h"

#include <stddef.h>
#include <stdint.h>

#define CELLS_CAP 65536

/* Takes all n bytes or returns an enum tm_rc. */
typedef int cells_write_fn(void *user, const void *data, size_t n);

struct cells;

int cells_new(struct cells **out, cells_write_fn *write, void *user) MUST_USE;

void cells_empty(struct cells *c);
void cells_text(struct cells *c, const char *s);  /* a fixed word or codes; quoted if it must be */
/* Text that people typed: as cells_text, and a cell that a spreadsheet would take for a formula (it begins with
 * = + - @, tab or CR) gets an apostrophe in front. */
void cells_free_text(struct cells *c, const char *s);
void cells_bytes(struct cells *c, const char *s, size_t n); /* digits and the like: never needs quotes */
void cells_number(struct cells *c, double v, int decimals); /* not finite: empty */
void cells_scaled(struct cells *c, int64_t scaled, int decimals); /* scaled / 10^decimals */
void cells_integer(struct cells *c, int64_t v);
void cells_seconds(struct cells *c, int64_t ns);            /* 3 decimals */

int cells_end_row(struct cells *c) MUST_USE; /* the sticky failure, else TM_OK */
int cells_flush(struct cells *c) MUST_USE;
void cells_destroy(struct cells *c);         /* does not flush; NULL is legal */

#endif
