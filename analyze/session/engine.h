/* The engine: items in, rows and events out. The only way into the analysis, live or batch.
 *
 * Rows and events leave 120 s of recording time after their end, or at engine_end, rows in order of their
 * start, events in order of their end, and are never revised. Results do not depend on how samples are cut
 * into blocks. Memory does not grow with the recording. No allocation after engine_new. */
#ifndef TIDEMARK_ANALYZE_ENGINE_H
#define TIDEMARK_ANALYZE_ENGINE_H

#include "analyze/breath/row.h"

struct engine_opts {
    enum patient_size patient; /* PATIENT_UNKNOWN: the recording's, else inferred from the first minute */
    double pbw_kg;             /* NAN: unknown (analyze/session/pbw.h makes it from height and sex) */
    const struct pattern_settings *patterns; /* NULL: the defaults; copied */
};

/* What was seen of the whole stream, for summary.json and check. Valid after engine_end. */
struct engine_totals {
    uint64_t samples;
    int64_t last_ns;          /* recording time of the last sample; -1: none */
    int64_t observed_ns;      /* sum of steps that are not holes */
    uint64_t holes_short;     /* holes up to 50 ms */
    uint64_t holes_long;      /* longer: the breath ended there */
    int64_t hole_ns;          /* seconds in holes of either kind */
    uint64_t missing_samples; /* samples whose pressure or flow was empty */
    uint64_t breaths;
    uint64_t events;
    enum patient_size patient;
    bool patient_inferred;
};

struct effort;
struct flag;
struct pattern_settings;

struct engine_sink {
    void *user;
    int (*row)(void *user, const struct breath_row *r);   /* non-zero stops the engine and is returned */
    int (*event)(void *user, const struct event *e);
    int (*effort)(void *user, const struct effort *e);    /* analyze/mechanics/effort.h; NULL: not wanted */
    int (*flag)(void *user, const struct flag *f);        /* analyze/patterns/pattern.h, after its row; NULL: not wanted */
};

struct engine;

int engine_new(struct engine **out, const struct recording_info *info, const struct engine_opts *o,
               const struct engine_sink *sink) MUST_USE;
int engine_push(struct engine *e, const struct item *it) MUST_USE;
int engine_end(struct engine *e) MUST_USE; /* once; push after it is TM_ERR_USAGE */
const struct engine_totals *engine_totals(const struct engine *e);
void engine_destroy(struct engine *e); /* NULL is legal */

#endif
