/* Which column is what, in which unit: from --columns, and for what it does not name from headings that say it
 * themselves. Never guessed: what is needed and not known is an error that names the option which settles it. */
#ifndef TIDEMARK_INGEST_IMPORT_MAPPING_H
#define TIDEMARK_INGEST_IMPORT_MAPPING_H

#include "ingest/import/heading.h"
#include "ingest/import/layout.h"
#include "ingest/import/stamp.h"

#define SLOTS (USE_FLOW_OUT + 1) /* values of a row: the channels, and the expired flow */

struct mapped {
    int column;              /* 0-based; -1: not there */
    const struct unit *unit; /* NULL where it is not there */
    double sign;             /* 1, or -1 where --invert asks for it */
    const char *gas;         /* gas condition that the heading names, or "" */
};

struct mapping {
    int time; /* column; -1: none, the rate holds */
    enum stamp_kind stamp;
    struct mapped of[SLOTS];
};

/* What mapping works from. */
struct mapping_from {
    const struct layout *layout;
    const struct peek *peek;
    const struct import_opts *opts;
    const struct notice_sink *sink;
};

/* TM_ERR_USAGE where an option can't be met; TM_ERR_INPUT where the file does not say enough. */
int mapping_find(struct mapping *m, const struct mapping_from *from, struct err *e) MUST_USE;

/* -- parts of it, in files of their own -- */

/* Units of what is mapped. Optional channels without a unit are left out, and that is said. */
int mapping_units(struct mapping *m, const struct mapping_from *from, struct err *e) MUST_USE;

/* Kind of the stamps. */
int mapping_time(struct mapping *m, const struct mapping_from *from, struct err *e) MUST_USE;

/* "column 3 (flow)", or "column 3" without a heading; out has COLUMN_TEXT bytes. Returns out. */
#define COLUMN_TEXT 64
const char *mapping_column(const struct layout *l, int column, char out[COLUMN_TEXT]);

#endif
