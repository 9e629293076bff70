/* dictionary.json: a data package whose resources are the tables, each with its Table Schema (Data Package standard,
 * table-schema). Besides the standard's keys each field has `unit` (UCUM), `source`, `validity`, `decimals` and `built`. */
#ifndef TIDEMARK_TABLES_DICTIONARY_H
#define TIDEMARK_TABLES_DICTIONARY_H

#include "analyze/breath/row.h"
#include "analyze/tables/cells.h"

#include <jansson.h>

/* A new reference; NULL: out of memory. */
json_t *dictionary_json(void);

/* The cautions, as `caution`, `intended_use`, `limits`, `identifiability` and `wording_version` of o. -1: out of memory. */
int json_add_wording(json_t *o) MUST_USE;

/* Writes a document through the sink, indented by 2, with a final newline. Numbers have at most 15 significant digits. */
int json_write(const json_t *j, cells_write_fn *write, void *user) MUST_USE;

/* A pattern with all that its descriptor says; NULL: out of memory. */
json_t *pattern_json(enum pattern_id p);

#endif
