/* Hours of a recording: what each elapsed hour held (hours.csv).
 *
 * Fed with the items that the engine was fed with, after it, and with the rows that it gave. An item of samples may not
 * span over 100 s, so that no row comes of an hour that the samples have not reached. An hour leaves, in order,
 * with the first row of a later hour, or when 600 s of recording time have passed since its end (no row can still
 * come: the engine gives them 120 s after a breath's end, and no breath lasts minutes), or at the end. An hour in which
 * nothing was recorded does not leave. Memory does not grow with the recording, nor do blocks' sizes change a result. */
#ifndef TIDEMARK_SESSION_HOURS_H
#define TIDEMARK_SESSION_HOURS_H

#include "analyze/breath/row.h"
#include "analyze/session/burden.h"
#include "analyze/session/targets.h"

enum hour_median {
#define FIELD(...)
#define MEDIAN(id, n_id, column, ...) HOUR_##column,
#include "analyze/tables/hours.def"
#undef MEDIAN
#undef FIELD
    HOUR_MEDIANS
};

struct hour_row {
    int64_t hour;        /* from 0 */
    int64_t observed_ns; /* steps between samples that both have pressure and flow, holes left out */
    int64_t usable_ns;   /* t0 to t2 of usable breaths that start in the hour */
    uint64_t breaths, usable_breaths;
    uint64_t kind[KIND_MANUAL + 1]; /* by enum breath_kind */
    uint64_t definite[PATTERN_N], possible[PATTERN_N]; /* breaths that have the flag */
    uint64_t judged[PATTERN_N];
    double median[HOUR_MEDIANS];    /* NAN: no usable breath has a value */
    uint64_t n[HOUR_MEDIANS];       /* how many have */
    struct target_count target[TARGET_N];
    uint64_t efforts;   /* the patient's own, in breaths in which efforts could be looked for */
    uint64_t efforts_possible; /* breaths of those without, in which one was possible */
    int64_t efforts_ns; /* cycle times of those breaths */
    struct burden_count burden;
};

/* Non-zero stops and is returned. */
typedef int hours_fn(void *user, const struct hour_row *h);

struct hours;

/* Only samples and rows from from_ns (included) to to_ns (excluded) count. info is read at each call. */
int hours_new(struct hours **out, const struct recording_info *info, int64_t from_ns, int64_t to_ns, hours_fn *fn,
              void *user) MUST_USE;
int hours_item(struct hours *h, const struct item *it) MUST_USE;
int hours_breath(struct hours *h, const struct breath_row *r) MUST_USE;
void hours_flag(struct hours *h, const struct flag *f); /* each directly after its row */
int hours_end(struct hours *h) MUST_USE;
void hours_destroy(struct hours *h); /* NULL is legal */

#endif
