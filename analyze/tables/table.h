/* What the tables look like: every file, every column, described once.
 *
 * breaths.csv comes from columns.def, hours.csv from hours.def, patterns.def and session/targets.def, the others from fields.def.
 * CSV headers, dictionary.json, `describe` and docs/metrics.md are made from these arrays. All strings are
 * static. */
#ifndef TIDEMARK_TABLES_TABLE_H
#define TIDEMARK_TABLES_TABLE_H

#include "analyze/breath/row.h"

enum field_type { TYPE_NUMBER, TYPE_INTEGER, TYPE_TEXT };

struct field {
    const char *name;
    enum field_type type;
    const char *unit;     /* UCUM; "1" dimensionless; "" text and counts */
    int decimals;         /* as printed */
    bool built;           /* false: not computed by this version, always empty */
    const char *title;
    const char *meaning;
    const char *validity; /* when empty, with the codes */
    const char *source;
};

enum table_id { TABLE_BREATHS, TABLE_FLAGS, TABLE_EVENTS, TABLE_HOURS, TABLE_TRIALS, TABLE_LIMITS, TABLE_N };

struct table {
    const char *file;   /* "breaths.csv" */
    const char *title;
    const char *meaning;
    int n_fields;
    const struct field *fields;
    const char *primary_key; /* space separated field names, or "" */
    bool built;              /* false: header only in this version */
};

const struct table *table_get(enum table_id t);

/* breaths.csv alone: the field of a column of struct breath_row. */
const struct field *column_field(enum col c);

/* -1: no such name. */
int table_find(const struct table *t, const char *name);

struct pattern_info {
    const char *name;
    bool built;
    const char *title, *meaning, *source;
};
const struct pattern_info *pattern_info(enum pattern_id p);

struct event_info {
    const char *name;
    bool built;
    const char *title, *meaning, *values, *source; /* values: keys, space separated */
};
const struct event_info *event_info(enum event_id e);

/* Lines of the log format; NULL beyond the last. */
struct format_info {
    const char *name; /* "%rate", "@" */
    const char *title, *meaning;
};
const struct format_info *format_info(size_t i);

#endif
