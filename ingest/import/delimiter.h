/* Which character parts the fields: as asked for, or found from the first rows. */
#ifndef TIDEMARK_INGEST_IMPORT_DELIMITER_H
#define TIDEMARK_INGEST_IMPORT_DELIMITER_H

#include "ingest/import/layout.h"

/* The candidates are tab, semicolon, comma and space; the one wins that leaves most numbers and least else. */
int delimiter_find(char *out, const struct peek *k, size_t from, const struct import_opts *o, struct err *e) MUST_USE;

/* Its name, as in --delimiter. */
const char *delimiter_name(char c);

#endif
