/* P0.1, trigger delay and drop, the rapid shallow breathing index: what depends on the breath's kind, known when its row leaves
 * (internal to pending). */
#ifndef TIDEMARK_ANALYZE_DRIVE_CELLS_H
#define TIDEMARK_ANALYZE_DRIVE_CELLS_H

#include "analyze/session/pending.h"

/* Fills the cells of waiting row i; its kind is known. Rows come in order. */
void drive_cells(struct pending *p, uint64_t i);

/* An effort has been found: the rows at whose start it was under way. */
void drive_effort(struct pending *p, const struct effort *e);

#endif
