/* Pairing what is true with what was found, one to one, by time. */
#ifndef TIDEMARK_TESTS_ACCURACY_MATCH_H
#define TIDEMARK_TESTS_ACCURACY_MATCH_H

#include <stddef.h>

#define MATCH_NONE ((size_t)-1)

/* truth and found are rising times in s. partner_of_truth[i] becomes the index in found, or MATCH_NONE, and the
 * reverse for partner_of_found. Nearest pairs first, none further apart than within_s. 0, or -1 out of memory. */
int match_times(const double *truth, size_t n_truth, const double *found, size_t n_found, double within_s,
                size_t *partner_of_truth, size_t *partner_of_found);

#endif
