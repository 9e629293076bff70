/* Which column is what, in which unit: from --columns, or from headings that say it; never guessed. */
#ifndef TIDEMARK_INGEST_IMPORT_MAPPING_H
#define TIDEMARK_INGEST_IMPORT_MAPPING_H

#include "ingest/import/heading.h"
#include "ingest/import/layout.h"
#include "ingest/import/lead_stamp.h"

struct mapped {
    int column;              /* 0-based; -1: not there */
    const struct unit *unit; /* NULL where it is not there */
    double sign;             /* 1, or -1 where --invert asks for it */
    char gas[8];
};

struct mapping {
    int time;                /* column; -1: none, rate_hz holds */
    enum stamp_kind stamp;
    bool bare_time;          /* seconds were assumed: the median step has to fit */
    struct mapped of[USE_FLOW_OUT + 1]; /* by channel, and the expired flow */
    int last;                /* the last column that is needed */
};

/* TM_ERR_USAGE where an option names what is not there; TM_ERR_INPUT where the file does not say enough. Both
 * say what would settle it. */
int mapping_find(struct mapping *m, const struct layout *l, const struct peek *k, const struct import_opts *o,
                 struct err *e) MUST_USE;

#endif
