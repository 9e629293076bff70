/* Samples of a scripted recording of the simulator, for tests of what reads them: its own headers name things as the program's do. */
#ifndef TIDEMARK_TESTS_MANOEUVRES_SCRIPT_SAMPLES_H
#define TIDEMARK_TESTS_MANOEUVRES_SCRIPT_SAMPLES_H

#include <stddef.h>

struct script_samples {
    size_t n;
    const double *p, *q; /* cmH2O, L/s, at the script's rate */
    void *run;
};

/* Asserts that the script can be read and run. */
struct script_samples *script_samples(const char *text);
void script_samples_free(struct script_samples *s);

#endif
