/* The rows of each CSV table. All return an enum tm_rc: the sticky failure of `cells`. */
#ifndef TIDEMARK_TABLES_CSV_H
#define TIDEMARK_TABLES_CSV_H

#include "analyze/patterns/pattern.h"
#include "analyze/tables/cells.h"
#include "analyze/tables/table.h"

/* The header row of any table. */
int csv_header(struct cells *c, const struct table *t) MUST_USE;

struct csv_context {
    const struct recording_info *info; /* for start_time; read at each row */
    enum reason no_pbw;                /* what stands for `no_height`: no_height or height_range */
};

int csv_breath(struct cells *c, const struct csv_context *x, const struct breath_row *r) MUST_USE;
int csv_event(struct cells *c, const struct event *e) MUST_USE;
int csv_flag(struct cells *c, const struct flag *f) MUST_USE;

/* Text of a column of breaths.csv that is TEXT, but for why_empty and start_time; "" empty. Of `quality` and `unjudged` a
 * text in buf. */
#define CSV_TEXT_MAX 4096
const char *csv_text(const struct breath_row *r, enum col c, char buf[CSV_TEXT_MAX]);

/* Why a cell is empty: WHY_NONE if it is not, or if the engine gave no reason. */
enum reason csv_why(const struct csv_context *x, const struct breath_row *r, enum col c);

#endif
