/* One recording measured from end to end: what `breaths` does with each FILE. */
#ifndef TIDEMARK_PROGRAM_NIGHT_H
#define TIDEMARK_PROGRAM_NIGHT_H

#include "analyze/patterns/pattern.h"
#include "analyze/program/say.h"
#include "analyze/session/engine.h"
#include "analyze/session/pbw.h"
#include "analyze/session/tally.h"
#include "ingest/source.h"

struct night_opts {
    const struct command *cmd;
    const struct args *args;  /* for `options` of the summary */
    const char *path;
    struct import_opts import;
    const char *out;          /* folder; NULL: no tables */
    bool force;
    double height_cm;         /* NAN: the recording's */
    char sex;                 /* 0: the recording's */
    enum patient_size patient;
    const char *from, *to;    /* seconds of recording time or RFC 3339; NULL: all */
    const char *marks;        /* file or NULL */
    bool btps;                /* convert flow and volume once, at the door */
    const char *gas;          /* gas condition where the recording names none, or NULL */
    double temp_c, baro_hpa;  /* of that gas */
    long breath;              /* print this one in words; 0: none */
    struct pattern_settings patterns;
    bool glance, json;        /* at the end, on stdout */
};

/* What is known when all is read: for the summary and the glance. */
struct night {
    const struct night_opts *o;
    const struct recording_info *info;
    const char *format;       /* "log" or "text" */
    bool closed_well;
    char sha256[65];
    struct engine_totals totals;
    struct pbw pbw;
    struct tally tally;
    const struct notices *notices;
    int64_t from_ns, to_ns;   /* rows and events that start in [from, to) are written; INT64_MIN and _MAX: all */
    uint64_t marks;           /* seen */
    double btps_factor;       /* flow and volume were multiplied by it; 1: as recorded */
};

/* Returns an enum exit_status; everything has been said. */
int night_run(const struct night_opts *o);

/* glance.c: a dozen lines to read aloud. */
void glance_print(const struct night *n);

/* row_words.c: one row in words. */
struct csv_context;
void row_print(const struct csv_context *x, const struct breath_row *r);

#endif
