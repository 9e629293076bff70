/* What one field of delimited text looks like, before anything is known of its column. */
#ifndef TIDEMARK_INGEST_IMPORT_CELL_H
#define TIDEMARK_INGEST_IMPORT_CELL_H

#include <stdbool.h>
#include <stddef.h>

enum cell {
    CELL_EMPTY,
    CELL_NUMBER,
    CELL_COMMA,   /* a number whose decimal point is a comma */
    CELL_TIME,    /* a clock time, or date and time */
    CELL_MISSING, /* na, n/a, null, none, - and their like: ways to write "not measured" */
    CELL_NAN,
    CELL_INF,     /* inf, infinity */
    CELL_TEXT
};

enum cell cell_kind(const char *p, size_t n);

/* Numbers, times and what stands for a missing number. */
bool cell_is_data(enum cell c);

#endif
