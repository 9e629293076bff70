#include "analyze/session/targets.h"
#include "analyze/session/usable.h"
#include "analyze/tables/median.h"

#include <math.h>
#include <string.h>

#define SIDE_OVER      false
#define SIDE_UNDER     true
#define AMONG_USABLE   true
#define AMONG_COMPLETE false

const struct target_info *target_info(enum target_id t)
{
    static const struct target_info infos[TARGET_N] = {
#define TARGET(id, column, side, threshold, among, title, meaning, source)                                                 \
    {#id, COL_##column, SIDE_##side, threshold, AMONG_##among, title, meaning, source},
#include "analyze/session/targets.def"
#undef TARGET
    };
    return &infos[(int)t >= 0 && t < TARGET_N ? (int)t : 0];
}

bool target_level(enum target_id t)
{
    return target_info(t)->column == COL_autopeep_cmh2o;
}

bool target_built(enum target_id t)
{
    return column_field(target_info(t)->column)->built;
}

/* Why a breath is not among those that count. */
static enum reason left_out(const struct breath_row *r)
{
    static const enum reason spoils[] = {WHY_gap, WHY_event, WHY_breath_long};
    for (size_t i = 0; i < sizeof spoils / sizeof spoils[0]; i++)
        if (r->quality >> spoils[i] & 1u)
            return spoils[i];
    return WHY_gap; /* cut by the recording's end */
}

enum target_verdict target_judge(enum target_id t, const struct breath_row *r, enum reason *why)
{
    const struct target_info *i = target_info(t);
    const double v = r->v[i->column];
    *why = WHY_NONE;
    if (!target_built(t)) {
        *why = WHY_not_built;
    } else if (!r->complete || (i->usable_only && !breath_usable(r))) {
        *why = left_out(r);
    } else if (!isfinite(v)) {
        const enum reason said = (enum reason)r->why[i->column];
        *why = said > WHY_NONE && said < WHY_N ? said : WHY_few_breaths;
    }
    if (*why != WHY_NONE)
        return TARGET_UNJUDGED;
    return (i->under ? v < i->threshold : v > i->threshold) ? TARGET_BEYOND : TARGET_WITHIN;
}

void target_add(struct target_count *c, enum target_verdict v, const struct breath_row *r)
{
    if (v == TARGET_UNJUDGED)
        return;
    c->judged++;
    c->judged_ns += r->t2_ns - r->t0_ns;
    if (v == TARGET_BEYOND) {
        c->beyond++;
        c->beyond_ns += r->t2_ns - r->t0_ns;
    }
}

static bool from_plateau(enum col c)
{
    return c == COL_pplat_cmh2o || c == COL_driving_cmh2o || c == COL_driving_airway_cmh2o;
}

static int basis_of(enum target_id t, const struct breath_row *r)
{
    const int b = target_level(t) ? (int)r->autopeep_basis : from_plateau(target_info(t)->column) ? (int)r->pplat_basis : 0;
    return b >= 0 && b < TARGET_BASES ? b : 0;
}

const char *target_basis_name(enum target_id t, int basis)
{
    if (target_level(t))
        return autopeep_basis_name((enum autopeep_basis)basis);
    return from_plateau(target_info(t)->column) ? pplat_basis_name((enum pplat_basis)basis) : "";
}

enum col companion_column(int companion)
{
    static const enum col columns[COMPANIONS] = {COL_rate_per_min, COL_vte_ml, COL_te_s};
    return columns[companion >= 0 && companion < COMPANIONS ? companion : 0];
}

int targets_init(struct targets *t)
{
    memset(t, 0, sizeof *t);
    for (int i = 0; i < TARGET_N; i++) {
        for (int k = 0; target_level((enum target_id)i) && k < 2 * COMPANIONS; k++) {
            const int rc = median_new(&t->companion[i][k / COMPANIONS][k % COMPANIONS], companion_column(k % COMPANIONS));
            if (rc != TM_OK)
                return rc;
        }
    }
    return TM_OK;
}

void targets_breath(struct targets *t, const struct breath_row *r)
{
    for (int i = 0; i < TARGET_N; i++) {
        const enum target_id id = (enum target_id)i;
        enum reason why;
        const enum target_verdict v = target_judge(id, r, &why);
        t->why[i][why] += v == TARGET_UNJUDGED;
        target_add(&t->count[i][basis_of(id, r)], v, r);
        /* A held breath's times are the hold's. */
        if (!target_level(id) || v == TARGET_UNJUDGED || !breath_usable(r))
            continue;
        for (int k = 0; k < COMPANIONS; k++)
            median_add(t->companion[i][v == TARGET_BEYOND][k], r->v[companion_column(k)]);
    }
}

struct target_count targets_sum(const struct targets *t, enum target_id id)
{
    struct target_count s = {0, 0, 0, 0};
    for (int b = 0; b < TARGET_BASES; b++) {
        const struct target_count *c = &t->count[id][b];
        s.judged += c->judged;
        s.beyond += c->beyond;
        s.judged_ns += c->judged_ns;
        s.beyond_ns += c->beyond_ns;
    }
    return s;
}

void targets_release(struct targets *t)
{
    for (int i = 0; i < TARGET_N; i++) {
        for (int k = 0; k < 2 * COMPANIONS; k++) {
            median_destroy(t->companion[i][k / COMPANIONS][k % COMPANIONS]);
            t->companion[i][k / COMPANIONS][k % COMPANIONS] = NULL;
        }
    }
}
