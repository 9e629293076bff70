/* A clean, closed copy of a log that was torn or damaged.
 *
 * Each member whose CRC-32 and length hold is kept, line for line, then the whole lines of a torn last one. Where
 * members are missing a gap line (`~ damaged`) says so, and the count on the time line after it is put right. The
 * copy ends with a closing line; a line that stands after the old closing line is left out. */
#ifndef TIDEMARK_INGEST_LOG_RECOVER_H
#define TIDEMARK_INGEST_LOG_RECOVER_H

#include "ingest/log/log_write.h"

struct recover_report {
    uint64_t samples;  /* sample lines kept */
    uint64_t holes;    /* places where members are missing */
    double lost_s;     /* seconds missing there, as the time lines tell; what a cut end lost can't be known */
    uint64_t lines_cut; /* lines without an end, left out (0 or 1) */
    bool was_closed;   /* the log had its closing line */
};

/* path "-" is standard input; bytes go to write. TM_ERR_INPUT: no log, or nothing in it can be read. */
int log_recover(const char *path, log_write_fn *write, void *user, struct recover_report *report,
                const struct notice_sink *sink, struct err *e) MUST_USE;

#endif
