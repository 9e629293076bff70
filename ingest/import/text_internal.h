/* What opening and reading delimited text share. */
#ifndef TIDEMARK_INGEST_IMPORT_TEXT_INTERNAL_H
#define TIDEMARK_INGEST_IMPORT_TEXT_INTERNAL_H

#include "ingest/import/rows.h"
#include "ingest/import/text_read.h"
#include "ingest/import/window.h"

/* Lines left out, and values, by what was wrong with them. */
enum tally {
    TALLY_BAD_TIME,
    TALLY_RAGGED,
    TALLY_QUOTE,
    TALLY_BINARY,
    TALLY_LONG,
    TALLY_REPEATED,
    TALLY_CUT,
    TALLY_LINES, /* those before it are lines, those behind it values */
    TALLY_BAD_NUMBER = TALLY_LINES,
    TALLY_BAD_VALUE,
    TALLY_EMPTY,
    TALLY_N
};

/* Rows being averaged: the mean of each `per` rows that follow each other without a hole. */
struct averager {
    long per, have;
    int64_t from_ns[2]; /* the two rows in the middle (one and the same where per is odd) */
    double sum[CH_N];
    long valid[CH_N];
    double factor[CH_N]; /* of the source's unit */
    double scale[CH_N];  /* means are whole multiples of 1/scale in it */
};

struct text_reader {
    struct window w;
    const char *path; /* borrowed */
    struct notice_sink sink;
    struct recording_info info;
    struct row_plan plan;
    struct row_clock clock;
    bool started;     /* recording time 0 is known */
    bool dated_start; /* the recording's start was given, or stands in the stamps */
    int64_t day_ns;   /* added to clock times for the midnights passed */
    bool passing;     /* the rest of a long or torn line is being passed over */
    bool gap_pending; /* a gap item is due before the next sample */
    bool done, ended; /* no more rows; all was said */
    uint64_t line;    /* line ends passed */
    uint64_t rows;    /* rows used */
    uint64_t holes;
    int64_t hole_ns;
    int64_t median_ns; /* step of the first rows */
    double difference_scale; /* of flow from two columns: 10^decimals; 0: one column */
    uint64_t tally[TALLY_N];
    uint64_t first_line[TALLY_N];
    struct averager mean;
    double flow_out[BLOCK_CAP];
    struct sample_block block;
    struct sample_block *raw; /* rows before they are averaged; NULL without averaging */
};

/* text_rate.c: are the options possible? */
int text_check_rate(const struct import_opts *o, struct err *e) MUST_USE;

/* text_rate.c: rate, clock and decimals, from the first rows and the options. */
int text_find_rate(struct text_reader *r, const struct layout *l, const struct peek *k, const struct import_opts *o,
                   struct err *e) MUST_USE;

/* text_read.c: source_ops.next. */
enum src_rc text_next(void *self, struct item *out, struct err *e) MUST_USE;

/* text_row.c: one record the careful way, into b. False: the data end here (said). */
bool text_take_record(struct text_reader *r, const struct record *rec, struct sample_block *b);

/* text_say.c: what is said while reading, and at the end. */
void say_record(struct text_reader *r, const struct record *rec, uint64_t line);
void say_fault(struct text_reader *r, const struct row_fault *f, uint64_t line);
void say_repeat(struct text_reader *r, uint64_t line);
void say_fall(struct text_reader *r, int64_t t_ns, uint64_t line);
void say_cut(struct text_reader *r, size_t torn);
void say_end(struct text_reader *r);

/* average.c: takes from's rows in, puts means into `to`, which has room for one a row; holes (limit_ns) part them. */
void average_rows(struct averager *a, const struct sample_block *from, int64_t limit_ns, struct sample_block *to,
                  int64_t *last_ns);

#endif
