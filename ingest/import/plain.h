/* The plain form in which headings and units are compared.
 *
 * Lower case; every run of separators ([ ] ( ) { } _ / . , : ; * - space and the like) made one `_`, none at the
 * ends; the few signs beyond ASCII that units are written with (subscript 2, superscript -1, micro, middle dot) and
 * `%` (pct) written out. So `[L/min]`, `l_min` and `L min-1` meet. */
#ifndef TIDEMARK_INGEST_IMPORT_PLAIN_H
#define TIDEMARK_INGEST_IMPORT_PLAIN_H

#include "ingest/units.h"

#define PLAIN_MAX 96 /* with the NUL */

/* Returns the length; 0 and "" where the text is empty or too long. */
size_t plain_form(char out[PLAIN_MAX], const char *text, size_t n);

/* The unit whose plain form this is; NULL: none for this quantity. */
const struct unit *plain_unit(const char *plain, enum quantity q);

/* Stands for clock times, e.g. hh_mm_ss. */
bool plain_clock(const char *plain);

/* A unit of any quantity, or a clock's (any text, as it stands). */
bool plain_is_unit(const char *text, size_t n);

#endif
