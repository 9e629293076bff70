#include "analyze/tables/hours_csv.h"
#include "analyze/tables/wallclock.h"

#include <math.h>
#include <string.h>

/* why_empty, one code after the other. */
struct why {
    char buf[6144];
    size_t n;
    const char *code; /* the one being listed */
};

static void why_add(struct why *w, const char *code, const char *column)
{
    char sep[40];
    size_t k = 0;
    if (w->code && strcmp(w->code, code) == 0) {
        sep[k++] = ',';
    } else {
        if (w->n)
            sep[k++] = ';';
        memcpy(sep + k, code, strlen(code));
        k += strlen(code);
        sep[k++] = ':';
        w->code = code;
    }
    const size_t n = strlen(column);
    if (w->n + k + n + 1 > sizeof w->buf)
        return;
    memcpy(w->buf + w->n, sep, k);
    memcpy(w->buf + w->n + k, column, n + 1);
    w->n += k + n;
}

static const struct {
    const char *name;
    int decimals;
    bool built;
} medians[HOUR_MEDIANS] = {
#define FIELD(...)
#define MEDIAN(id, n_id, column, unit, decimals, built, title) {#id, decimals, built},
#include "analyze/tables/hours.def"
#undef MEDIAN
#undef FIELD
};

static void put_medians(struct cells *c, const struct hour_row *h)
{
    for (int m = 0; m < HOUR_MEDIANS; m++) {
        if (medians[m].built)
            cells_number(c, h->median[m], medians[m].decimals);
        else
            cells_empty(c);
        cells_integer(c, medians[m].built ? (int64_t)h->n[m] : 0);
    }
}

static void put_targets(struct cells *c, const struct hour_row *h)
{
    for (int t = 0; t < TARGET_N; t++) {
        const struct target_count *x = &h->target[t];
        if (x->judged > 0) {
            cells_number(c, (double)x->beyond_ns / 60e9, 2);
            cells_integer(c, (int64_t)x->beyond);
        } else {
            cells_empty(c);
            cells_empty(c);
        }
        cells_integer(c, (int64_t)x->judged);
    }
}

static void put_burden(struct cells *c, const struct hour_row *h)
{
    for (int k = 0; k < BURDEN_COLUMNS; k++) {
        const double v = burden_hour(&h->burden, k);
        if (burden_column_decimals(k) < 0)
            cells_integer(c, (int64_t)v);
        else
            cells_number(c, v, burden_column_decimals(k));
    }
}

static const char *const of_pattern[] = {"_definite", "_possible"};
static const char *const of_target[] = {"_min", "_breaths"};

/* The two cells of a pattern or threshold that none of the hour's breaths allowed to judge. */
static void why_unjudged(struct why *w, const char *pattern, const char *const endings[2])
{
    char name[64];
    const size_t n = strlen(pattern);
    for (size_t i = 0; i < 2 && n + strlen(endings[i]) < sizeof name; i++) {
        memcpy(name, pattern, n);
        memcpy(name + n, endings[i], strlen(endings[i]) + 1);
        why_add(w, reason_name(WHY_few_breaths), name);
    }
}

/* Codes in the order of their table: few_breaths, no_mechanics, no_mark, not_built. */
static void put_why(struct cells *c, const struct recording_info *info, const struct hour_row *h)
{
    struct why w = {.n = 0, .code = NULL};
    w.buf[0] = '\0';
    for (int m = 0; m < HOUR_MEDIANS; m++)
        if (medians[m].built && !isfinite(h->median[m]))
            why_add(&w, reason_name(WHY_few_breaths), medians[m].name);
    for (int p = 0; p < PATTERN_N; p++)
        if (pattern_info((enum pattern_id)p)->built && h->judged[p] == 0)
            why_unjudged(&w, pattern_name((enum pattern_id)p), of_pattern);
    for (int t = 0; t < TARGET_N; t++)
        if (target_built((enum target_id)t) && h->target[t].judged == 0)
            why_unjudged(&w, target_info((enum target_id)t)->name, of_target);
    for (int k = 0; k < BURDEN_COLUMNS; k++)
        if (!isfinite(burden_hour(&h->burden, k)))
            why_add(&w, reason_name(WHY_few_breaths), burden_column_name(k));
    if (h->efforts_ns == 0) {
        why_add(&w, reason_name(WHY_no_mechanics), "own_rate_per_min");
        why_add(&w, reason_name(WHY_no_mechanics), "own_rate_most_per_min");
    }
    if (!info->start_known)
        why_add(&w, reason_name(WHY_no_mark), "start_time");
    const struct table *t = table_get(TABLE_HOURS);
    for (int i = 0; i < t->n_fields; i++) {
        const char *name = t->fields[i].name;
        const size_t n = strlen(name);
        const bool counts = n > 2 && (strcmp(name + n - 2, "_n") == 0 || (n > 7 && strcmp(name + n - 7, "_judged") == 0));
        if (!t->fields[i].built && !counts)
            why_add(&w, reason_name(WHY_not_built), name);
    }
    cells_text(c, w.buf);
}

int csv_hour(struct cells *c, const struct recording_info *info, const struct hour_row *h)
{
    const int64_t start_ns = h->hour * 3600 * NS_PER_S;
    char t[WALLCLOCK_MAX];
    cells_integer(c, h->hour);
    cells_seconds(c, start_ns);
    cells_bytes(c, t, wallclock_put(t, info, start_ns));
    cells_seconds(c, h->observed_ns);
    cells_seconds(c, h->usable_ns);
    cells_integer(c, (int64_t)h->breaths);
    cells_integer(c, (int64_t)h->usable_breaths);
    static const enum breath_kind order[] = {KIND_MANDATORY,  KIND_ASSISTED, KIND_SUPPORTED,
                                             KIND_UNASSISTED, KIND_MANUAL,   KIND_UNKNOWN};
    for (size_t k = 0; k < sizeof order / sizeof order[0]; k++) {
        if (order[k] == KIND_MANUAL)
            cells_empty(c); /* not told from others yet */
        else
            cells_integer(c, (int64_t)h->kind[order[k]]);
    }
    put_medians(c, h);
    const uint64_t own[] = {h->efforts, h->efforts + h->efforts_possible};
    for (size_t i = 0; i < 2; i++) {
        if (h->efforts_ns > 0)
            cells_number(c, (double)own[i] * 60e9 / (double)h->efforts_ns, 2);
        else
            cells_empty(c);
    }
    cells_seconds(c, h->efforts_ns);
    for (int p = 0; p < PATTERN_N; p++) {
        const bool judged = pattern_info((enum pattern_id)p)->built && h->judged[p] > 0;
        if (judged) {
            cells_integer(c, (int64_t)h->definite[p]);
            cells_integer(c, (int64_t)h->possible[p]);
        } else { /* no flag is known of a pattern that was not judged */
            cells_empty(c);
            cells_empty(c);
        }
        cells_integer(c, judged ? (int64_t)h->judged[p] : 0);
    }
    put_targets(c, h);
    put_burden(c, h);
    put_why(c, info, h);
    return cells_end_row(c);
}
