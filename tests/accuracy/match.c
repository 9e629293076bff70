#include "tests/accuracy/match.h"

#include <math.h>
#include <stdlib.h>

struct pair {
    double distance;
    size_t truth, found;
};

static int nearer(const void *a, const void *b)
{
    const struct pair *x = a, *y = b;
    if (x->distance != y->distance) {
        return x->distance < y->distance ? -1 : 1;
    }
    return (x->truth > y->truth) - (x->truth < y->truth);
}

/* Lists the pairs within reach; with pairs NULL it only counts them. */
static size_t list_pairs(const double *truth, size_t n_truth, const double *found, size_t n_found, double within_s,
                         struct pair *pairs)
{
    size_t n = 0, first = 0;
    for (size_t i = 0; i < n_truth; i++) {
        while (first < n_found && found[first] < truth[i] - within_s) {
            first++;
        }
        for (size_t k = first; k < n_found && found[k] <= truth[i] + within_s; k++) {
            if (pairs) {
                pairs[n] = (struct pair){fabs(found[k] - truth[i]), i, k};
            }
            n++;
        }
    }
    return n;
}

int match_times(const double *truth, size_t n_truth, const double *found, size_t n_found, double within_s,
                size_t *partner_of_truth, size_t *partner_of_found)
{
    for (size_t i = 0; i < n_truth; i++) {
        partner_of_truth[i] = MATCH_NONE;
    }
    for (size_t k = 0; k < n_found; k++) {
        partner_of_found[k] = MATCH_NONE;
    }
    size_t n = list_pairs(truth, n_truth, found, n_found, within_s, NULL);
    if (n == 0) {
        return 0;
    }
    struct pair *pairs = malloc(n * sizeof *pairs);
    if (!pairs) {
        return -1;
    }
    list_pairs(truth, n_truth, found, n_found, within_s, pairs);
    qsort(pairs, n, sizeof *pairs, nearer);
    for (size_t p = 0; p < n; p++) {
        if (partner_of_truth[pairs[p].truth] == MATCH_NONE && partner_of_found[pairs[p].found] == MATCH_NONE) {
            partner_of_truth[pairs[p].truth] = pairs[p].found;
            partner_of_found[pairs[p].found] = pairs[p].truth;
        }
    }
    free(pairs);
    return 0;
}
