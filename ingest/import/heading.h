/* What a column's heading says: which signal, in which unit, under which gas condition.
 *
 * Headings are compared in their plain form (plain.h): `Flow [L/min]`, `flow_l_min` and `FLOW (L min-1)` are one.
 * The names are those in common use (common practice, no source); docs/import.md lists them. */
#ifndef TIDEMARK_INGEST_IMPORT_HEADING_H
#define TIDEMARK_INGEST_IMPORT_HEADING_H

#include "ingest/units.h"

/* What a column can be used for. The first CH_N are the channels themselves (flow: CH_FLOW). */
enum use {
    USE_FLOW_OUT = CH_N, /* expired flow in a column of its own, positive outwards; CH_FLOW is then the inspired */
    USE_FLOW_IN,         /* as a heading only: becomes CH_FLOW */
    USE_TIME,
    USE_NONE
};

struct heading {
    enum use use;            /* USE_NONE: no known signal */
    const struct unit *unit; /* NULL: names none that we know for this use */
    bool clock;              /* time only: the unit is a clock's, e.g. `hh:mm:ss` */
    char strange[24];        /* a unit in brackets that we don't know for this use, or "" */
    const char *gas;         /* BTPS, ATPS, ATPD, STPD or "" */
};

/* Recognises a whole heading. */
struct heading heading_read(const char *text, size_t n);

/* The column is known to be `use`; reads unit and gas condition from the end or the brackets of its heading. */
struct heading heading_of(const char *text, size_t n, enum use use);

/* A unit that stands alone, as in a second header row. NULL: none for this use. */
const struct unit *heading_unit(const char *text, size_t n, enum use use);

/* Same heading, case-blind, blanks around ignored. */
bool heading_same(const char *a, size_t na, const char *b, size_t nb);

/* What the use's unit measures, and its name as in --columns. */
enum quantity use_quantity(enum use use);
const char *use_name(enum use use);
enum use use_find(const char *text, size_t n); /* a name as in --columns; USE_NONE: unknown */

#endif
