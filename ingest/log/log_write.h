/* Writing the open log format: docs/log-format.md is the specification.
 *
 * The writer makes text lines and wraps them into gzip members of about 60 s with a sync flush each second;
 * bytes go to the caller's write function, so that a recorder, a converter and a test share it. It never
 * sleeps, prints or opens files. MTIME is 0 and OS is FF: same samples, same bytes. */
#ifndef TIDEMARK_INGEST_LOG_WRITE_H
#define TIDEMARK_INGEST_LOG_WRITE_H

#include "ingest/sample.h"

/* Must take all n bytes or fail (returning an enum tm_rc). */
typedef int log_write_fn(void *user, const void *data, size_t n);

struct log_write_opts {
    log_write_fn *write;
    void *user;
    bool plain;                  /* no gzip: text as it is */
    int level;                   /* zlib level; 0 means 6 */
    int64_t member_ns;           /* 0 means 60 s */
    const char *caution;         /* text of the caution head line; NULL: none */
    bool host_time;              /* time lines carry host wall and monotonic time (log_write_host_time gives them) */
    bool exact;                  /* a converter's: decimals grow, at a new member, until each value reads back as
                                    the same double; else values are rounded to the declared decimals */
};

struct log_writer;

/* info and o are copied. Units are UCUM codes ("" the program's own); decimals -1: a default. Pressure, flow and
 * a rate must be there (TM_ERR_USAGE). Values are given in program units and written in info's. */
int log_writer_new(struct log_writer **out, const struct recording_info *info, const struct log_write_opts *o,
                   struct err *e) MUST_USE;

/* Samples must rise in time (TM_ERR_USAGE). A write function's failure is returned, then and ever after. Samples in
 * source time: t_ns of the block plus info->first_source_ns stands on the time lines. */
int log_write_samples(struct log_writer *w, const struct sample_block *b) MUST_USE;
int log_write_gap(struct log_writer *w, const struct gap *g) MUST_USE;
int log_write_mark(struct log_writer *w, const struct mark *m) MUST_USE;
int log_write_clock(struct log_writer *w, const char *what, int64_t step_ns) MUST_USE; /* reset, wrap, step */
/* Host times for the next time line (recorder only). */
void log_write_host_time(struct log_writer *w, int64_t wall_unix_ns, int64_t monotonic_ns);
int log_write_flush(struct log_writer *w) MUST_USE; /* sync flush now: all lines so far can be read back */
/* Values that don't read back as the same double, so far (o->exact only). */
uint64_t log_writer_inexact(const struct log_writer *w);
int log_write_close(struct log_writer *w) MUST_USE; /* closing line, last member; the writer can only be destroyed */
void log_writer_destroy(struct log_writer *w);

#endif
