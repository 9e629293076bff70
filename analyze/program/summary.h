/* summary.json: what was read, how, and what came out. docs/summary.schema.json describes it. No time of the run, host or
 * path stands in it: the same input, options and version give the same bytes. */
#ifndef TIDEMARK_PROGRAM_SUMMARY_H
#define TIDEMARK_PROGRAM_SUMMARY_H

#include "analyze/program/night.h"

#include <jansson.h>

struct summary_file {
    const char *name;
    char sha256[65];
    uint64_t bytes, rows; /* rows without the header; of JSON 0 */
};

/* A new reference; NULL: out of memory. */
json_t *summary_json(const struct night *n, const struct summary_file *files, size_t n_files);

#endif
