/* Shared by night.c (reading) and night_run.c (outputs); nobody else includes it. */
#ifndef TIDEMARK_PROGRAM_NIGHT_INTERNAL_H
#define TIDEMARK_PROGRAM_NIGHT_INTERNAL_H

#include "analyze/program/marks_file.h"
#include "analyze/program/night.h"
#include "analyze/program/folder.h"
#include "analyze/program/progress.h"
#include "analyze/session/check.h"
#include "analyze/session/hours.h"
#include "analyze/tables/csv.h"
#include "analyze/tables/hours_csv.h"

#define NIGHT_ENOUGH 77 /* a sink's word for: all that was asked for has been seen */

struct night_run {
    struct night n;
    struct notices *notices;
    struct source *source;
    struct engine *engine;
    struct hours *hours;
    struct marks *marks;
    struct check *check; /* of the first minutes */
    struct sample_block *split; /* a part of a block */
    struct sample_block *warm;  /* with --btps: the block converted */
    struct csv_context x;
    struct folder *dir; /* NULL: no tables */
    struct part_file *file[TABLE_N];
    struct cells *cells[TABLE_N];
    uint64_t rows[TABLE_N];
    struct progress progress;
    bool begun, output_failed, found, enough;
    bool flags_inside; /* the last row was within --from and --to */
};

/* Reads the source to its end and through the engine. Returns an exit status; EXIT_WRONG: the good part was read. */
int night_read(struct night_run *r);

/* Exit status of a return code of the engine, the hours or a sink, having said what is wrong. */
int night_status(struct night_run *r, int rc);
int night_memory(struct night_run *r); /* says so; EXIT_NOTHING */

#endif
