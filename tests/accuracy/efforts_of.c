#include "tests/accuracy/efforts_of.h"

#include <math.h>

#include "analyze/mechanics/effort.h"
#include "analyze/session/engine.h"
#include "ingest/source.h"

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
    static const char *const known[] = {"none", "poor", "fair", "good"};
    static const char *const source[] = {"none", "assumed", "steps", "hold", "fit"};
    return fprintf(user, "%.3f,%.3f,%.3f,%.2f,%.2f,%s,%s,%s\n", (double)e->start_ns * 1e-9, (double)e->neural_end_ns * 1e-9,
                   (double)e->end_ns * 1e-9, e->peak_cmh2o, e->sd_cmh2o, confidence_name(e->confidence), known[e->quality],
                   source[e->source]) < 0;
}

int efforts_write(const char *recording, FILE *out)
{
    struct source *source = NULL;
    struct engine *engine = NULL;
    struct err err;
    struct import_opts import;
    const struct notice_sink quiet = {NULL, NULL};
    const struct engine_opts opts = {.patient = PATIENT_UNKNOWN, .pbw_kg = (double)NAN};
    const struct engine_sink sink = {.user = out, .row = row, .event = event, .effort = effort};
    int rc = -1;
    import_opts_defaults(&import);
    if (source_open(&source, recording, &import, &quiet, &err) != TM_OK) {
        return -1;
    }
    if (engine_new(&engine, source_info(source), &opts, &sink) != TM_OK) {
        goto out;
    }
    fputs("start_s,neural_end_s,end_s,peak_cmh2o,sd_cmh2o,confidence,known,source\n", out);
    struct item item;
    enum src_rc got;
    while ((got = source_next(source, &item, &err)) == SRC_ITEM) {
        if (engine_push(engine, &item) != TM_OK) {
            goto out;
        }
    }
    rc = got == SRC_END && engine_end(engine) == TM_OK && !ferror(out) ? 0 : -1;
out:
    engine_destroy(engine);
    source_close(source);
    return rc;
}
