#include "analyze/program/summary_targets.h"
#include "analyze/tables/median.h"
#include "analyze/tables/table.h"

#include <math.h>

/* Minutes with three decimals: 0.06 s. */
static json_t *minutes(int64_t ns)
{
    return json_real(round((double)ns / 60e6) / 1000.0);
}

static json_t *count(uint64_t n)
{
    return json_integer((json_int_t)n);
}

static json_t *share(uint64_t part, uint64_t whole)
{
    return whole > 0 ? json_real(round((double)part / (double)whole * 1e4) / 1e4) : json_null();
}

static json_t *counted(const struct target_count *c)
{
    return json_pack("{s:o,s:o,s:o,s:o,s:o}", "judged", count(c->judged), "judged_min", minutes(c->judged_ns), "beyond",
                     count(c->beyond), "share", share(c->beyond, c->judged), "beyond_min",
                     c->judged > 0 ? minutes(c->beyond_ns) : json_null());
}

static json_t *by_basis(const struct targets *t, enum target_id id)
{
    json_t *o = json_object();
    for (int b = 0; b < TARGET_BASES; b++)
        if (target_basis_name(id, b)[0] && t->count[id][b].judged > 0)
            (void)json_object_set_new(o, target_basis_name(id, b), counted(&t->count[id][b]));
    return o;
}

static json_t *reasons(const struct targets *t, enum target_id id)
{
    json_t *o = json_object();
    for (int q = 1; q < WHY_N; q++)
        if (t->why[id][q] > 0)
            (void)json_object_set_new(o, reason_name((enum reason)q), count(t->why[id][q]));
    return o;
}

static json_t *target(const struct tally *t, enum target_id id)
{
    const struct target_info *i = target_info(id);
    const struct target_count sum = targets_sum(&t->targets, id);
    json_t *o = counted(&sum);
    json_t *more = json_pack("{s:s,s:s,s:f,s:s,s:s,s:o,s:o,s:o}", "column", column_field(i->column)->name, "side",
                             i->under ? "under" : "over", "threshold", i->threshold, "unit", column_field(i->column)->unit,
                             "source", i->source, "of", count(t->breaths), "unjudged", reasons(&t->targets, id), "by_basis",
                             by_basis(&t->targets, id));
    if (!o || !more || json_object_update(o, more) != 0) {
        json_decref(o);
        o = NULL;
    }
    json_decref(more);
    return o;
}

json_t *summary_targets(const struct tally *t)
{
    json_t *o = json_object();
    for (int i = 0; i < TARGET_N; i++)
        if (!target_level((enum target_id)i))
            (void)json_object_set_new(o, target_info((enum target_id)i)->name, target(t, (enum target_id)i));
    return o;
}

/* Medians of the breaths over a level beside those of the others: what went along with it, not why. */
static json_t *companions(const struct targets *t, enum target_id id)
{
    json_t *o = json_object();
    const uint64_t within = median_n(t->companion[id][0][COMPANION_RATE]), over = median_n(t->companion[id][1][COMPANION_RATE]);
    const bool enough = within >= COMPANION_LEAST && over >= COMPANION_LEAST;
    (void)json_object_set_new(o, "breaths_over", count(over));
    (void)json_object_set_new(o, "breaths_not_over", count(within));
    (void)json_object_set_new(o, "why_empty", enough ? json_null() : json_string(reason_name(WHY_few_breaths)));
    for (int k = 0; k < COMPANIONS; k++) {
        double v[2];
        for (int side = 0; side < 2; side++)
            v[side] = enough ? median_of(t->companion[id][side][k], 0.5) : (double)NAN;
        (void)json_object_set_new(o, column_field(companion_column(k))->name,
                                  json_pack("{s:o,s:o,s:s}", "over", isfinite(v[1]) ? json_real(v[1]) : json_null(), "not_over",
                                            isfinite(v[0]) ? json_real(v[0]) : json_null(), "unit",
                                            column_field(companion_column(k))->unit));
    }
    return o;
}

json_t *summary_autopeep(const struct tally *t)
{
    json_t *levels = json_object();
    for (int i = 0; i < TARGET_N; i++) {
        const enum target_id id = (enum target_id)i;
        if (!target_level(id))
            continue;
        json_t *l = target(t, id);
        if (l)
            (void)json_object_set_new(l, "went_along_with", companions(&t->targets, id));
        (void)json_object_set_new(levels, target_info(id)->name, l);
    }
    return json_pack("{s:s,s:i,s:o}", "note",
                     "By flow and by fit auto-PEEP is a lower bound in unequal lungs, and so are the minutes over a level. Medians "
                     "say what went along with it, not why.",
                     "least_breaths", COMPANION_LEAST, "levels", levels);
}
