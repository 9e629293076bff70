/* What opening and reading delimited text share. */
#ifndef TIDEMARK_INGEST_IMPORT_TEXT_INTERNAL_H
#define TIDEMARK_INGEST_IMPORT_TEXT_INTERNAL_H

#include "ingest/import/lead_pace.h"
#include "ingest/import/rows.h"
#include "ingest/import/text_read.h"
#include "ingest/import/window.h"

struct text_reader {
    struct window w;
    const char *path;
    struct notice_sink sink;
    struct recording_info info;
    struct mapping map;
    struct row_plan plan;
    bool plain_rows;  /* the fast way may be tried */
    bool passing;     /* the rest of a long line is being passed over */
    bool done;
    uint64_t line;    /* line ends passed */
    double rate_hz;   /* without a time column */
    long average;
    /* time */
    bool any;
    int64_t first_ns; /* stamp of the first sample */
    int64_t last_ns;  /* recording time of the last row */
    int64_t day_ns;   /* added for midnights passed */
    int64_t rows;     /* rows used so far */
    bool date_taken;
    uint64_t repeats, holes;
    int64_t hole_ns;
    /* samples being averaged */
    long in_mean;
    double sum[CH_N];
    int64_t mean_from_ns;
    struct sample_block block;
};

/* source_ops.next of the reader. */
enum src_rc text_reader_next(struct text_reader *r, struct item *out, struct err *e) MUST_USE;

#endif
