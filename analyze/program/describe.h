/* Shared by describe.c and describe_docs.c. */
#ifndef TIDEMARK_PROGRAM_DESCRIBE_H
#define TIDEMARK_PROGRAM_DESCRIBE_H

#include "analyze/tables/table.h"

#include <stdio.h>

/* docs/metrics.md: every column, pattern, event and code. */
void docs_metrics(FILE *out);

/* "number, mL, 1 decimal" */
void describe_type(FILE *out, const struct field *f);

#endif
