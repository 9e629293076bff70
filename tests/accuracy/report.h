/* docs/accuracy.md, from the records. */
#ifndef TIDEMARK_TESTS_ACCURACY_REPORT_H
#define TIDEMARK_TESTS_ACCURACY_REPORT_H

#include <stdio.h>

#include "tests/accuracy/score.h"

/* Writes the whole page, with the text about the judged runs; 0, or -1 out of memory. Errors of the stream are left for ferror(). */
int report_write(FILE *o, const struct records *r, const struct patient *patients, size_t n_patients, const char *runs);
/* The bars alone, one line each. Returns how many were missed, or -1 out of memory. */
int report_bars(FILE *o, const struct records *r, const struct patient *patients);
/* A line per kind of event. */
void report_events(FILE *o, const struct records *r);
/* What patterns come to: all together, by patient, and which are taken for which. 0, or -1 out of memory. */
int report_patterns(FILE *o, const struct records *r, const struct patient *patients, size_t n_patients);
/* A row per patient, and of the worst what went wrong first. */
int report_patients(FILE *o, const struct records *r, const struct patient *patients, size_t n_patients);

#endif
