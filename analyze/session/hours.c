#include "analyze/session/hours.h"
#include "analyze/session/usable.h"
#include "analyze/tables/median.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define HOUR_NS    (3600 * NS_PER_S)
#define PATIENCE   (600 * NS_PER_S)
#define PENDING    4 /* two can be open; a jump in time opens a third for a moment */

static const enum col columns[HOUR_MEDIANS] = {
#define FIELD(...)
#define MEDIAN(id, n_id, column, ...) COL_##column,
#include "analyze/tables/hours.def"
#undef MEDIAN
#undef FIELD
};

struct hours {
    const struct recording_info *info;
    int64_t from_ns, to_ns;
    hours_fn *fn;
    void *user;
    int n; /* open hours, oldest first; breaths go to the first that is theirs */
    struct hour_row open[PENDING];
    int64_t medians_of; /* hour that the medians hold values of; -1: none */
    struct median *median[HOUR_MEDIANS];
    struct hour_row *of_flags; /* where the last row went; NULL: nowhere */
    bool have_last, last_good;
    int64_t last_ns;
};

int hours_new(struct hours **out, const struct recording_info *info, int64_t from_ns, int64_t to_ns, hours_fn *fn,
              void *user)
{
    struct hours *h = calloc(1, sizeof *h);
    if (!h)
        return TM_ERR_MEMORY;
    for (int m = 0; m < HOUR_MEDIANS; m++) {
        const int rc = median_new(&h->median[m], columns[m]);
        if (rc != TM_OK) {
            hours_destroy(h);
            return rc;
        }
    }
    h->info = info;
    h->from_ns = from_ns;
    h->to_ns = to_ns;
    h->fn = fn;
    h->user = user;
    h->medians_of = -1;
    *out = h;
    return TM_OK;
}

void hours_destroy(struct hours *h)
{
    if (!h)
        return;
    for (int m = 0; m < HOUR_MEDIANS; m++)
        median_destroy(h->median[m]);
    free(h);
}

/* Lets the oldest open hour go. */
static int leave(struct hours *h)
{
    struct hour_row *r = &h->open[0];
    for (int m = 0; m < HOUR_MEDIANS; m++) {
        const bool own = h->medians_of == r->hour;
        r->median[m] = own ? median_of(h->median[m], 0.5) : (double)NAN;
        r->n[m] = own ? median_n(h->median[m]) : 0;
        if (own)
            median_clear(h->median[m]);
    }
    const int rc = h->fn(h->user, r);
    h->of_flags = NULL; /* entries move */
    h->n--;
    memmove(h->open, h->open + 1, (size_t)h->n * sizeof h->open[0]);
    return rc;
}

/* The entry of an hour, opened if need be. An hour older than all open ones has left: the oldest takes its place. */
static int entry(struct hours *h, int64_t hour, struct hour_row **out)
{
    for (int i = 0; i < h->n; i++) {
        if (h->open[i].hour >= hour) {
            *out = &h->open[i];
            return TM_OK;
        }
    }
    if (h->n == PENDING) {
        const int rc = leave(h);
        if (rc != TM_OK)
            return rc;
    }
    struct hour_row *r = &h->open[h->n++];
    memset(r, 0, sizeof *r);
    r->hour = hour;
    *out = r;
    return TM_OK;
}

static int observe(struct hours *h, int64_t from, int64_t to)
{
    while (from < to) {
        const int64_t hour = from / HOUR_NS, end = (hour + 1) * HOUR_NS;
        const int64_t until = to < end ? to : end;
        struct hour_row *r;
        const int rc = entry(h, hour, &r);
        if (rc != TM_OK)
            return rc;
        r->observed_ns += until - from;
        from = until;
    }
    return TM_OK;
}

/* Nothing in the block ends a stretch: every sample is good and near the one before. */
static bool seamless(const struct hours *h, const struct sample_block *b)
{
    const int64_t limit = h->info->gap_limit_ns;
    const double *p = b->v[CH_PAW], *q = b->v[CH_FLOW];
    if (b->t_ns[0] < h->from_ns || b->t_ns[b->n - 1] >= h->to_ns)
        return false;
    int64_t last = h->last_ns;
    bool seam = false;
    for (size_t i = 0; i < b->n; i++) {
        seam |= (p[i] != p[i]) | (q[i] != q[i]) | (b->t_ns[i] - last > limit);
        last = b->t_ns[i];
    }
    return !seam;
}

/* Stretches without a hole are added as wholes: sums of integers do not care how they were cut. */
static int observe_block(struct hours *h, const struct sample_block *b)
{
    const bool both = (b->channels >> CH_PAW & 1u) && (b->channels >> CH_FLOW & 1u);
    const int64_t limit = h->info->gap_limit_ns;
    int64_t from = h->have_last && h->last_good ? h->last_ns : -1; /* start of the stretch; -1: none */
    int64_t last = h->last_ns;
    if (both && from >= 0 && seamless(h, b)) {
        h->last_ns = b->t_ns[b->n - 1];
        return observe(h, from, h->last_ns);
    }
    for (size_t i = 0; i < b->n; i++) {
        const int64_t t = b->t_ns[i];
        const double p = b->v[CH_PAW][i], q = b->v[CH_FLOW][i];
        const bool good = both && p == p && q == q && t >= h->from_ns && t < h->to_ns;
        if (from >= 0 && (!good || t - last > limit)) {
            const int rc = observe(h, from, last);
            if (rc != TM_OK)
                return rc;
            from = -1;
        }
        if (good && from < 0)
            from = t;
        last = t;
    }
    h->have_last = true;
    h->last_good = from >= 0;
    h->last_ns = last;
    return from >= 0 ? observe(h, from, last) : TM_OK;
}

int hours_item(struct hours *h, const struct item *it)
{
    if (it->kind != ITEM_SAMPLES || it->samples->n == 0)
        return TM_OK;
    const int64_t first = it->samples->t_ns[0];
    while (h->n > 0 && (h->open[0].hour + 1) * HOUR_NS + PATIENCE <= first) {
        const int rc = leave(h);
        if (rc != TM_OK)
            return rc;
    }
    return observe_block(h, it->samples);
}

/* A breath that the patient started had an effort, also where it shows in flow alone; not if the machine may have started itself. */
static uint64_t own_efforts(const struct breath_row *b)
{
    if (b->efforts > 0)
        return b->efforts;
    return b->initiation == INIT_PATIENT && b->pattern[PATTERN_auto_trigger] == CONF_NONE;
}

int hours_breath(struct hours *h, const struct breath_row *b)
{
    h->of_flags = NULL;
    if (b->t0_ns < h->from_ns || b->t0_ns >= h->to_ns)
        return TM_OK;
    const int64_t hour = b->t0_ns / HOUR_NS;
    while (h->n > 0 && h->open[0].hour < hour) {
        const int rc = leave(h);
        if (rc != TM_OK)
            return rc;
    }
    struct hour_row *r;
    const int rc = entry(h, hour, &r);
    if (rc != TM_OK)
        return rc;
    h->medians_of = r->hour;
    h->of_flags = r;
    burden_row(&r->burden, b);
    r->breaths++;
    if ((int)b->kind >= 0 && b->kind <= KIND_MANUAL)
        r->kind[b->kind]++;
    for (int p = 0; p < PATTERN_N; p++) {
        r->definite[p] += b->pattern[p] == CONF_DEFINITE;
        r->possible[p] += b->pattern[p] == CONF_POSSIBLE;
        r->judged[p] += b->unjudged[p] == WHY_NONE;
    }
    for (int t = 0; t < TARGET_N; t++) {
        enum reason why;
        target_add(&r->target[t], target_judge((enum target_id)t, b, &why), b);
    }
    if (b->complete && isfinite(b->v[COL_effort])) {
        const uint64_t own = own_efforts(b);
        r->efforts += own;
        r->efforts_possible += own == 0 && b->v[COL_effort] > 0;
        r->efforts_ns += b->t2_ns - b->t0_ns;
    }
    if (!breath_usable(b))
        return TM_OK;
    r->usable_breaths++;
    r->usable_ns += b->t2_ns - b->t0_ns;
    for (int m = 0; m < HOUR_MEDIANS; m++)
        if (column_field(columns[m])->built)
            median_add(h->median[m], b->v[columns[m]]);
    return TM_OK;
}

void hours_flag(struct hours *h, const struct flag *f)
{
    if (h->of_flags)
        burden_flag(&h->of_flags->burden, f);
}

int hours_end(struct hours *h)
{
    while (h->n > 0) {
        const int rc = leave(h);
        if (rc != TM_OK)
            return rc;
    }
    return TM_OK;
}
