/* Time stamps as text to integer nanoseconds, by integer arithmetic alone.
 *
 * Numbers are exact to half a nanosecond whatever they look like (0.30000000000000004, 1.00e-02): digits beyond are
 * rounded, halves away from zero. Clock times are H:MM[:SS[.fff]], counted from midnight (24:00:00 and above refused,
 * second 60 taken as the next minute's first). Date-times are RFC 3339; without an offset they are taken as if in UTC
 * and offset_known is false. */
#ifndef TIDEMARK_INGEST_IMPORT_STAMP_H
#define TIDEMARK_INGEST_IMPORT_STAMP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DAY_NS INT64_C(86400000000000)

enum stamp_kind {
    STAMP_NONE,   /* no time column: a rate was given */
    STAMP_UNSAID, /* a number whose unit is nowhere: read as seconds, believed only if the steps fit */
    STAMP_S,
    STAMP_MS,
    STAMP_US,
    STAMP_CLOCK,
    STAMP_DATE
};

struct stamp {
    int64_t ns;
    int places; /* of seconds, as the text shows them: its resolution is 10^-places s; 0 to 9 */
    bool offset_known;
    int offset_min;
};

/* The whole field (n bytes, blanks taken off). False: not a stamp of this kind, or beyond +-9e9 s. */
bool stamp_parse(enum stamp_kind kind, const char *p, size_t n, char point, struct stamp *out);

/* Decimal places of a second in one unit of the kind: 0, 3 or 6. */
int stamp_unit_places(enum stamp_kind kind);

#endif
