/* Efforts of a recording as the engine sees them, as CSV on standard output: for scoring. */
#include "analyze/mechanics/effort.h"
#include "analyze/session/engine.h"
#include "ingest/source.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static int row(void *user, const struct breath_row *r)
{
    (void)user;
    (void)r;
    return 0;
}

static int event(void *user, const struct event *e)
{
    (void)user;
    (void)e;
    return 0;
}

static int effort(void *user, const struct effort *e)
{
    return fprintf(user, "%.3f,%.3f,%.3f,%.2f,%.2f,%s\n", (double)e->start_ns * 1e-9, (double)e->neural_end_ns * 1e-9,
                   (double)e->end_ns * 1e-9, e->peak_cmh2o, e->sd_cmh2o, confidence_name(e->confidence)) < 0;
}

int main(int argc, char **argv)
{
    struct source *source = NULL;
    struct engine *engine = NULL;
    struct err err;
    struct import_opts import;
    const struct notice_sink quiet = {NULL, NULL};
    import_opts_defaults(&import);
    int rc = EXIT_FAILURE;
    if (argc != 2 || source_open(&source, argv[1], &import, &quiet, &err) != TM_OK) {
        fprintf(stderr, "usage: tidemark-efforts FILE\n");
        return EXIT_FAILURE;
    }
    const struct engine_opts opts = {.patient = PATIENT_UNKNOWN, .pbw_kg = (double)NAN};
    const struct engine_sink sink = {.user = stdout, .row = row, .event = event, .effort = effort};
    if (engine_new(&engine, source_info(source), &opts, &sink) != TM_OK)
        goto out;
    puts("start_s,neural_end_s,end_s,peak_cmh2o,sd_cmh2o,confidence");
    struct item item;
    enum src_rc got;
    while ((got = source_next(source, &item, &err)) == SRC_ITEM)
        if (engine_push(engine, &item) != TM_OK)
            goto out;
    rc = got == SRC_END && engine_end(engine) == TM_OK ? EXIT_SUCCESS : EXIT_FAILURE;
out:
    engine_destroy(engine);
    source_close(source);
    return rc;
}
