/* Efforts of a recording as the engine sees them: no table has them, and scoring needs them one by one. */
#ifndef TIDEMARK_TESTS_ACCURACY_EFFORTS_OF_H
#define TIDEMARK_TESTS_ACCURACY_EFFORTS_OF_H

#include <stdio.h>

#include "ingest/sample.h"

/* Runs the engine over the recording and writes its efforts as CSV: start_s,neural_end_s,end_s,peak_cmh2o,sd_cmh2o,confidence,
 * known,source (known: quality of the mechanics they were found with). 0, or -1 where it can't be read or written. */
int efforts_write(const char *recording, FILE *out) MUST_USE;

#endif
