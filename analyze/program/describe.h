/* Shared by describe.c and describe_docs.c. */
#ifndef TIDEMARK_PROGRAM_DESCRIBE_H
#define TIDEMARK_PROGRAM_DESCRIBE_H

#include "analyze/tables/table.h"
#include "analyze/tables/wording.h"

#include <jansson.h>

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* docs/metrics.md: every column, pattern, event and code. */
void docs_metrics(FILE *out);

/* "number, mL, 1 decimal" */
void describe_type(FILE *out, const struct field *f);

/* What a built pattern's descriptor says, on the terminal and as a section of docs/metrics.md; nothing if it is not built. */
void describe_pattern_text(FILE *out, enum pattern_id p);
void docs_pattern(FILE *out, enum pattern_id p);

/* The drawings of docs/pictures, in the program (pictures.cmake makes the array); ended by a NULL id. */
struct picture {
    const char *id; /* of a pattern or column */
    const unsigned char *svg;
    size_t n;
};
extern const struct picture pictures[];
const struct picture *picture_of(const char *id); /* NULL: there is none */

/* Six lines for a clinician. False, and nothing printed: the column has none. */
bool describe_explained(FILE *out, const char *column);
/* docs/patterns.md */
void docs_patterns(FILE *out);

/* Asynchrony indices and settings as seen; returns how many were found, as describe.c's own. */
int describe_burden(const char *name, json_t *found);
void list_burden(void);
void docs_burden(FILE *out);

#endif
