/* One row of samples, from text to numbers in the file's own units: a fast way for the plain row, a careful way
 * for every surprise. Both give the same numbers. */
#ifndef TIDEMARK_INGEST_IMPORT_ROWS_H
#define TIDEMARK_INGEST_IMPORT_ROWS_H

#include "ingest/import/mapping.h"

struct row {
    int64_t stamp_ns; /* as stamp_read gives it; without a time column 0 */
    bool has_stamp, dated, offset_known;
    int offset_min;
    double v[USE_FLOW_OUT + 1]; /* NAN: empty or bad */
};

enum { PLAN_SKIP = -1, PLAN_TIME = -2 };
struct row_plan {
    int n;                   /* columns up to the last one needed */
    signed char what[COLUMNS_MAX]; /* PLAN_SKIP, PLAN_TIME or the use */
    char delimiter, point;
    enum stamp_kind stamp;
    int places;              /* decimals of a stamp down to 1 ns; -1: a clock, the careful way only */
    int64_t scale;           /* nanoseconds in one unit of the stamp */
};

void row_plan_make(struct row_plan *plan, const struct layout *l, const struct mapping *m);

/* The fast way: p begins a line and a line feed stands somewhere behind it. Returns the byte behind that line
 * feed, or NULL at any surprise (nothing is then to be used). Needs point '.' and delimiters other than space. */
const char *row_fast(const struct row_plan *plan, const char *p, struct row *out);

/* What is wrong with a field, for the notice. */
struct row_fault {
    int column;     /* 0-based; -1: none */
    const char *what; /* static */
    char text[32];  /* the field, cut and made printable */
};

/* The careful way. Returns false where the row has too few fields or no readable stamp (the row is lost);
 * faults of single values leave them NAN: at most `max` are told, *n says how many there were. */
bool row_careful(const struct row_plan *plan, const struct record *r, struct row *out, struct row_fault *fault,
                 int max, int *n);

#endif
