/* Test help: a log read by the project's own reader, as far as it goes. */
#ifndef TIDEMARK_TEST_READ_BACK_H
#define TIDEMARK_TEST_READ_BACK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct read_back {
    bool opened;      /* the reader took the file */
    bool closed_well;
    bool failed;      /* it gave up with an error */
    size_t samples;
    int64_t first_ns, last_ns; /* source times; -1: no sample */
    int64_t step_ns_max;       /* largest distance of two samples that follow each other */
    size_t missing;            /* samples without pressure */
    size_t gaps;
    char gap[32];              /* reason of the last one */
    double paw_sum;            /* of those with pressure, cmH2O */
};

void read_back(const char *path, struct read_back *out);

#endif
