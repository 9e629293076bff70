/* The patterns of a row, judged among its neighbours when it leaves (internal to pending). */
#ifndef TIDEMARK_ANALYZE_PATTERN_ROWS_H
#define TIDEMARK_ANALYZE_PATTERN_ROWS_H

#include "analyze/session/pending.h"

/* Judges waiting row i, whose number is set; returns how many flags it has. */
int pattern_row(struct pending *p, uint64_t i, struct flag found[FLAGS_MOST]);

#endif
