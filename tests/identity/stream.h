/* An invented recording for the identity tests, made without the simulator: volume-controlled and unassisted
 * breaths, a short and a long hole, a disconnection, missing values, a mark. Same seed, same bits. */
#ifndef TIDEMARK_TESTS_IDENTITY_STREAM_H
#define TIDEMARK_TESTS_IDENTITY_STREAM_H

#include "ingest/sample.h"

struct stream {
    size_t n;
    int64_t *t_ns;
    double *paw, *flow;   /* cmH2O, L/s; NAN: missing */
    size_t n_breaks;      /* items that stand before a sample: gaps and marks, in order */
    struct {
        size_t before;    /* index of the sample that follows */
        struct item item;
    } breaks[8];
    struct recording_info info;
};

/* Owned by the caller: stream_free. 0, or -1 out of memory. */
int stream_make(struct stream *s, double rate_hz, double seconds, uint64_t seed);
void stream_free(struct stream *s);

/* Small generator with 64 bits of state: next value in 0..1. */
double stream_random(uint64_t *state);

#endif
