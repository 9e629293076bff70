/* Recording time as date and time, RFC 3339 with milliseconds and the recording's own offset from UTC. */
#ifndef TIDEMARK_TABLES_WALLCLOCK_H
#define TIDEMARK_TABLES_WALLCLOCK_H

#include "ingest/sample.h"

#define WALLCLOCK_MAX 40 /* bytes at most, no NUL */

/* Writes the instant t_ns of the recording; returns the bytes written, 0 if its start is not known or the year is not
 * in 1..9999. Rounded down to the millisecond: a clock never shows a second that has not come. */
size_t wallclock_put(char *out, const struct recording_info *info, int64_t t_ns);

#endif
