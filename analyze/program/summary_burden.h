/* The block `burden` of summary.json (docs/summary.schema.json): what asynchrony came to, and what changed when. */
#ifndef TIDEMARK_PROGRAM_SUMMARY_BURDEN_H
#define TIDEMARK_PROGRAM_SUMMARY_BURDEN_H

#include "analyze/session/tally.h"

#include <jansson.h>

/* A new reference; NULL: out of memory. */
json_t *summary_burden(const struct tally *t);

#endif
