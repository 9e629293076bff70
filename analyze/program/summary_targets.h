/* The blocks `targets` and `autopeep_burden` of summary.json (docs/summary.schema.json). */
#ifndef TIDEMARK_PROGRAM_SUMMARY_TARGETS_H
#define TIDEMARK_PROGRAM_SUMMARY_TARGETS_H

#include "analyze/session/tally.h"

#include <jansson.h>

/* New references; NULL: out of memory. */
json_t *summary_targets(const struct tally *t);
json_t *summary_autopeep(const struct tally *t);

#endif
