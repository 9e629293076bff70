/* Medians of printed values in bounded memory.
 *
 * Values are counted in bins as wide as the last printed decimal, so that the median is exactly that of the cells a reader
 * finds in the table: of an even number the mean of the middle two, rounded half to even to the column's decimals.
 * Values beyond the range are counted in its end bins. Pages that no value touches cost no memory (calloc). */
#ifndef TIDEMARK_TABLES_MEDIAN_H
#define TIDEMARK_TABLES_MEDIAN_H

#include "analyze/tables/table.h"

struct median;

/* For a numeric column of breaths.csv. */
int median_new(struct median **out, enum col c) MUST_USE;
void median_add(struct median *m, double v); /* not finite: not counted */
uint64_t median_n(const struct median *m);
double median_of(const struct median *m, double fraction); /* fraction 0.5: the median; 0..1: nearest rank. NAN: none */
void median_clear(struct median *m);
void median_destroy(struct median *m);

/* True if the column has a range, and so a median. */
bool median_known(enum col c);

#endif
