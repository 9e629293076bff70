/* Shared by the tests of the log: recordings in memory, written and read back. */
#ifndef TIDEMARK_TESTS_LOG_KIT_H
#define TIDEMARK_TESTS_LOG_KIT_H

#include "ingest/log/log_write.h"
#include "ingest/source.h"
#include "tests/bytes/check_bytes.h"

/* A growing buffer that a writer writes into. */
struct memory {
    unsigned char *data;
    size_t n, cap;
};
int memory_write(void *user, const void *data, size_t n); /* a log_write_fn */
void memory_free(struct memory *m);

/* Everything that a source gave. */
struct got_sample {
    int64_t t_ns;
    double v[CH_N]; /* NAN where the channel is not there */
};
struct got {
    enum src_rc rc; /* SRC_END, SRC_ERR; SRC_GONE: it did not open */
    struct err e;
    struct heard heard;
    struct recording_info info;
    bool closed_well;
    size_t n, cap;
    struct got_sample *sample;
    size_t gaps, marks;
    struct gap gap[64];   /* the first ones */
    struct mark mark[64]; /* the first ones */
    size_t mark_at[64];   /* samples that came before it */
    double gap_s;         /* of all gaps with both ends */
};
void read_log(struct got *g, const char *path, uint64_t offset);
void read_memory(struct got *g, const void *data, size_t n);
void got_free(struct got *g);

/* Pressure and flow at 100 Hz, two and three decimals. */
struct recording_info plain_info(void);

uint64_t rnd(uint64_t *seed);

#endif
