/* One reading of a text, kept whole, for tests. */
#ifndef TIDEMARK_TESTS_IMPORT_READING_H
#define TIDEMARK_TESTS_IMPORT_READING_H

#include "ingest/source.h"
#include "tests/import/fake_bytes.h"

#define SAID_MAX 64

struct reading {
    int rc;       /* of opening */
    struct err err;
    enum src_rc end;
    struct recording_info info; /* as after the last item */
    size_t n, cap;
    int64_t *t_ns;
    double *v[CH_N];
    size_t gaps;
    struct gap gap; /* the last */
    size_t gap_at;  /* samples before it */
    struct notice said[SAID_MAX];
    size_t n_said;  /* all, also those that no longer fit */
};

/* Reads parts in pieces (fake_bytes). The reading is the caller's: reading_free. */
struct reading *read_parts(const struct fake_part *parts, size_t n, const struct import_opts *o, size_t most,
                           uint32_t seed);

/* Reads one text. o NULL: defaults. */
struct reading *read_text(const char *text, size_t n, const struct import_opts *o);

/* The first notice with this code; NULL: none. How many there were, of those kept. */
const struct notice *reading_said(const struct reading *r, const char *code);
size_t reading_count(const struct reading *r, const char *code);

/* Times, values (bit for bit), gaps and end are the same. */
bool reading_same(const struct reading *a, const struct reading *b);

void reading_free(struct reading *r);

#endif
