/* Work, power and stress index of a row that leaves: they were read when the breath closed, but only now is it known what
 * controlled it and who started it (internal to pending). */
#ifndef TIDEMARK_ANALYZE_WORK_CELLS_H
#define TIDEMARK_ANALYZE_WORK_CELLS_H

#include "analyze/session/pending.h"

/* Fills the cells of waiting row i; its kind is known, and rows before it have theirs. */
void work_cells(struct pending *p, uint64_t i);

#endif
