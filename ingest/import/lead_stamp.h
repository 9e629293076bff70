/* Time stamps of delimited text, to integer nanoseconds without passing through a double. */
#ifndef TIDEMARK_INGEST_IMPORT_LEAD_STAMP_H
#define TIDEMARK_INGEST_IMPORT_LEAD_STAMP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum stamp_kind {
    STAMP_SECONDS,
    STAMP_MILLI,
    STAMP_MICRO,
    STAMP_CLOCK /* HH:MM[:SS[.fff]], or a date and time (RFC 3339, or the same without an offset) */
};

/* The whole field (n bytes, blanks taken off). For clocks: nanoseconds since midnight, or since 1970 where a
 * date stands (*dated; *offset_known where an offset from UTC stands too). point is '.' or ','. */
bool stamp_read(const char *p, size_t n, enum stamp_kind kind, char point, int64_t *ns, bool *dated,
                int *offset_min, bool *offset_known);

#endif
