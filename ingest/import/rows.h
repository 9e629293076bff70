/* One row of samples, from text to numbers in program units: a fast way for the plain row, a careful way for every
 * surprise. Both give the same doubles and the same nanoseconds; the fast way only ever gives up. */
#ifndef TIDEMARK_INGEST_IMPORT_ROWS_H
#define TIDEMARK_INGEST_IMPORT_ROWS_H

#include "ingest/import/mapping.h"
#include "ingest/import/pace.h"

struct row {
    struct stamp stamp; /* without a time column: zeros */
    double v[SLOTS];    /* NAN: empty or bad; flow not yet less the expired flow */
    int empty;          /* fields that are needed and hold nothing */
};

/* A needed column of the fast way: how many fields to pass over before it, and what it is. */
struct row_step {
    int pass;
    int slot; /* SLOTS: the time */
};

struct row_plan {
    size_t columns; /* fields of a row */
    char delimiter, point;
    enum stamp_kind stamp;
    int time;       /* column; -1: none */
    int column[SLOTS];    /* -1: not there */
    double factor[SLOTS]; /* to program units, sign included */
    double limit[SLOTS];  /* what is larger, in program units, no sensor writes */
    bool may_be_fast;
    struct row_step step[SLOTS + 1];
    int steps;
    int behind;     /* fields behind the last needed one */
    int places;     /* of the stamp's number down to 1 ns */
    int64_t scale;  /* nanoseconds in one unit of it */
};

void row_plan_make(struct row_plan *plan, const struct layout *l, const struct mapping *m);

/* Finds the steps anew, after the time was taken out of the plan. */
void row_plan_steps(struct row_plan *plan);

/* What the fast way has to know and to keep of time. */
struct row_clock {
    int64_t first_ns; /* stamp of recording time 0 */
    int64_t last_ns;  /* recording time of the row before */
    int64_t limit_ns; /* a longer step is a hole: left to the careful way */
    int64_t min_ns, max_ns; /* steps so far */
    struct grid grid; /* without stamps */
};

/* Where rows go: times, and a column of values by slot (NULL: not there). */
struct row_out {
    int64_t *t_ns;
    double *v[SLOTS];
    size_t n, cap;
    uint64_t empty; /* fields that hold nothing */
};

/* Takes rows from p on, until the room is full, a row is not plain, or stop is reached (a line feed stands just
 * before stop; WINDOW_SLACK bytes behind it may be read). Returns the first byte not taken. */
const char *rows_fast(const struct row_plan *plan, struct row_clock *clock, const char *p, const char *stop,
                      struct row_out *out);

/* What is wrong with a field, or with the row. */
enum row_wrong { ROW_BAD_TIME, ROW_RAGGED, ROW_BAD_NUMBER, ROW_BAD_VALUE };
struct row_fault {
    enum row_wrong wrong;
    int column;       /* 0-based */
    size_t have;      /* ragged: how many fields there are */
    size_t byte;      /* from 1: the byte of the field that can't be */
    char text[32];    /* the field, cut and made printable */
};

/* The careful way. False: too few or too many fields, or no readable stamp; the row is lost. Faults of single
 * values leave them NAN. fault has SLOTS + 1 places; *n says how many are used. */
bool row_careful(const struct row_plan *plan, const struct record *r, struct row *out, struct row_fault *fault, int *n);

#endif
