/* How the file is laid out, found from its first bytes: delimiter, header, row of units, where the samples begin. */
#ifndef TIDEMARK_INGEST_IMPORT_LAYOUT_H
#define TIDEMARK_INGEST_IMPORT_LAYOUT_H

#include "ingest/import/record.h"
#include "ingest/source.h"

#define COLUMNS_MAX 256 /* fields of a row; more are refused */
#define PEEK_BYTES  (192u << 10) /* what is looked at before the first sample leaves */
#define PEEK_ROWS   1000

/* The first bytes, in one piece. final: nothing follows them (or bytes were lost behind them). */
struct peek {
    const char *p;
    size_t n;
    bool final;
    const char *file; /* for messages */
};

struct layout {
    char delimiter;
    char point;       /* '.' or ',' */
    bool has_header;
    bool has_units;   /* a row of units under the header */
    size_t columns;   /* fields of a row of samples */
    bool last_empty;  /* its last field is always empty: a delimiter at the end of each row */
    size_t named;     /* fields of the header */
    struct field name[COLUMNS_MAX]; /* into the peek's bytes; n 0 behind the last */
    struct field unit[COLUMNS_MAX];
    size_t data_from; /* byte at which the samples begin */
    uint64_t lines;   /* line ends before it */
    uint64_t header_line;
    uint64_t passed_over; /* lines before the samples that are neither comment, header nor units */
};

/* TM_ERR_INPUT: not text, or no rows; TM_ERR_USAGE: options that contradict each other. */
int layout_find(struct layout *l, const struct peek *k, const struct import_opts *o, struct err *e) MUST_USE;

#endif
