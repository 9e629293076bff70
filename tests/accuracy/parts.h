/* Parts of the records: by stratum, size, lung, ward, rate, leak, control, troubles. The values of each are those that
 * occur, in order of first appearance, so that every generator brings its own words. */
#ifndef TIDEMARK_TESTS_ACCURACY_PARTS_H
#define TIDEMARK_TESTS_ACCURACY_PARTS_H

#include "tests/accuracy/score.h"

#define PART_VALUES_MAX 40

struct dimension {
    const char *name;
    /* The word that a record falls under; "" none. buf has 64 bytes for a word that is made. */
    const char *(*word)(const struct record *rec, const struct patient *p, char *buf);
};

size_t dimensions_count(void);
const struct dimension *dimensions_get(size_t i);
/* The words that occur, at most PART_VALUES_MAX; returns how many. */
size_t dimension_words(const struct dimension *d, const struct records *r, const struct patient *patients,
                       char words[PART_VALUES_MAX][64]);
/* A part_fn whose argument is a struct part_of. */
struct part_of {
    const struct dimension *dimension;
    const char *word;
};
bool part_is(const struct record *rec, const struct patient *p, const void *part_of);
/* Argument: const size_t *, a patient's index. */
bool part_patient(const struct record *rec, const struct patient *p, const void *index);
bool part_all(const struct record *rec, const struct patient *p, const void *unused);

#endif
