/* Simulating and measuring many patients, a few at a time. */
#ifndef TIDEMARK_TESTS_ACCURACY_RUNNER_H
#define TIDEMARK_TESTS_ACCURACY_RUNNER_H

#include "tests/accuracy/score.h"

struct run {
    const char *tidemark, *sim, *judge; /* the program and the two generators */
    const char *scratch;  /* folder for recordings and tables, made if missing; files stay for a look if keep */
    int jobs;
    bool keep;
};

/* Simulates each patient, runs `tidemark breaths` on the recording, scores it. Sets patients[i].heart. 0, or -1 with
 * the reason on stderr. */
int run_patients(const struct run *run, struct patient *patients, size_t n, struct records *r);

#endif
