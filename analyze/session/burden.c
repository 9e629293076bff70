#include "analyze/session/burden.h"
#include "analyze/patterns/pattern.h"
#include "analyze/tables/table.h"

#include <math.h>
#include <string.h>

#define IN(pattern) (1u << PATTERN_##pattern)
#define EVERY       ((1u << PATTERN_N) - 1)
#define TIMED       (IN(ineffective_effort) | IN(early_cycling) | IN(late_cycling))
#define OF(pattern) (BURDEN_PATTERN + PATTERN_##pattern)

static const struct {
    const char *title, *meaning;
    uint32_t names;
} named[BURDEN_PATTERN] = {
#define INDEX(id, title, names, meaning) {title, meaning, names},
#include "analyze/session/burden.def"
#undef INDEX
};

uint32_t burden_names(int set)
{
    return set < BURDEN_PATTERN ? named[set].names : 1u << (set - BURDEN_PATTERN);
}

const char *burden_title(int set)
{
    return set < BURDEN_PATTERN ? named[set].title : pattern_info((enum pattern_id)(set - BURDEN_PATTERN))->title;
}

const char *burden_meaning(int set)
{
    return set < BURDEN_PATTERN ? named[set].meaning : pattern_info((enum pattern_id)(set - BURDEN_PATTERN))->meaning;
}

static uint32_t unjudged(const struct breath_row *r)
{
    uint32_t u = 0;
    for (int p = 0; p < PATTERN_N; p++)
        if (r->unjudged[p] != WHY_NONE || !pattern_info((enum pattern_id)p)->built)
            u |= 1u << p;
    return u;
}

void burden_row(struct burden_count *c, const struct breath_row *r)
{
    const uint32_t not_judged = unjudged(r);
    const int64_t cycle_ns = r->t2_ns - r->t0_ns;
    c->last_sets = 0;
    c->last_timed = false;
    if (r->kind == KIND_UNASSISTED)
        return;
    c->machine++;
    for (int s = 0; s < BURDEN_SETS; s++) {
        if (burden_names(s) & not_judged)
            continue;
        c->last_sets |= 1u << s;
        c->set[s].judged++;
        c->set[s].judged_ns += cycle_ns;
    }
    if ((c->last_sets >> OF(ineffective_effort) & 1u) != 0 && r->initiation == INIT_PATIENT)
        c->triggered++;
    c->last_timed = (TIMED & not_judged) == 0;
    if (!c->last_timed)
        return;
    c->timed_ns += cycle_ns;
    if (r->v[COL_trigger_delay_s] > 0)
        c->delay_ns += llround(r->v[COL_trigger_delay_s] * 1e9);
}

double flag_number(const struct flag *f, const char *key)
{
    for (int i = 0; i < f->what.n; i++)
        if (strcmp(f->what.evidence[i].key, key) == 0)
            return f->what.evidence[i].number;
    return (double)NAN;
}

static void add_stacked(struct burden_count *c, int which, const struct flag *f)
{
    const double ml = flag_number(f, "vstack_ml");
    c->stacked[which]++;
    if (isfinite(ml))
        c->stacked_ul[which] += llround(ml * 1000);
    else
        c->stacked_unread[which]++;
}

static void add_time(struct burden_count *c, const struct flag *f)
{
    const bool cycling = f->pattern == PATTERN_early_cycling || f->pattern == PATTERN_late_cycling;
    const double s = cycling ? flag_number(f, "err_s") : f->pattern == PATTERN_ineffective_effort ? flag_number(f, "dur_s") : (double)NAN;
    if (!isfinite(s))
        return;
    *(cycling ? &c->cycling_ns : &c->unanswered_ns) += llround(s * 1e9);
}

void burden_flag(struct burden_count *c, const struct flag *f)
{
    const int first = f->what.confidence == CONF_DEFINITE ? DEFINITE : WITH_POSSIBLE;
    const bool ineffective = f->pattern == PATTERN_ineffective_effort;
    for (int which = first; which <= WITH_POSSIBLE; which++) {
        for (int s = 0; s < BURDEN_SETS; s++) {
            if (!(c->last_sets >> s & 1u))
                continue;
            c->set[s].events[which] += burden_names(s) >> f->pattern & 1u;
            c->set[s].ineffective[which] += ineffective;
        }
        if (f->pattern == PATTERN_double_trigger && (c->last_sets >> OF(double_trigger) & 1u))
            add_stacked(c, which, f);
    }
    if (c->last_timed)
        add_time(c, f);
}

static double ratio(double part, double whole)
{
    return whole > 0 ? part / whole : (double)NAN;
}

bool burden_covered(const struct burden_count *c, int set)
{
    return c->set[set].judged > 0 && 2 * c->set[set].judged >= c->machine;
}

double burden_index_pct(const struct burden_count *c, int set, int which)
{
    const struct burden_index *i = &c->set[set];
    return burden_covered(c, set) ? 100 * ratio((double)i->events[which], (double)(i->judged + i->ineffective[which])) : (double)NAN;
}

double burden_events_per_h(const struct burden_count *c, int set, int which)
{
    return burden_covered(c, set) ? ratio((double)c->set[set].events[which] * 3600e9, (double)c->set[set].judged_ns) : (double)NAN;
}

double burden_ineffective_index_pct(const struct burden_count *c, int which)
{
    const uint64_t n = c->set[OF(ineffective_effort)].ineffective[which];
    return burden_covered(c, OF(ineffective_effort)) && c->triggered >= BURDEN_TRIGGERED_LEAST ? 100 * ratio((double)n, (double)(c->triggered + n)) : (double)NAN;
}

double burden_stacked_ml_h(const struct burden_count *c, int which)
{
    const int s = OF(double_trigger);
    return burden_covered(c, s) ? ratio((double)c->stacked_ul[which] * 3.6e9, (double)c->set[s].judged_ns) : (double)NAN;
}

double burden_time_pct(const struct burden_count *c)
{
    bool covered = true;
    for (int p = 0; p < PATTERN_N; p++)
        covered = covered && (!(TIMED >> p & 1u) || burden_covered(c, BURDEN_PATTERN + p));
    return covered ? 100 * ratio((double)(c->delay_ns + c->cycling_ns + c->unanswered_ns), (double)c->timed_ns) : (double)NAN;
}

static const struct {
    const char *name;
    enum { NUMBER, INTEGER } type;
    int decimals;
} columns[BURDEN_COLUMNS] = {
#define BURDEN(id, type, unit, decimals, ...) {#id, type, decimals},
#include "analyze/session/burden.def"
#undef BURDEN
};

const char *burden_column_name(int column)
{
    return columns[column].name;
}

int burden_column_decimals(int column)
{
    return columns[column].type == INTEGER ? -1 : columns[column].decimals;
}

double burden_hour(const struct burden_count *c, int column)
{
    switch ((enum burden_column)column) {
    case BURDEN_COLUMN_machine_breaths: return (double)c->machine;
    case BURDEN_COLUMN_ai_core_definite_pct: return burden_index_pct(c, BURDEN_core, DEFINITE);
    case BURDEN_COLUMN_ai_core_pct: return burden_index_pct(c, BURDEN_core, WITH_POSSIBLE);
    case BURDEN_COLUMN_ai_core_judged: return (double)c->set[BURDEN_core].judged;
    case BURDEN_COLUMN_ai_patient_definite_pct: return burden_index_pct(c, BURDEN_patient, DEFINITE);
    case BURDEN_COLUMN_ai_patient_pct: return burden_index_pct(c, BURDEN_patient, WITH_POSSIBLE);
    case BURDEN_COLUMN_ai_patient_judged: return (double)c->set[BURDEN_patient].judged;
    case BURDEN_COLUMN_ai_all_definite_pct: return burden_index_pct(c, BURDEN_all, DEFINITE);
    case BURDEN_COLUMN_ai_all_pct: return burden_index_pct(c, BURDEN_all, WITH_POSSIBLE);
    case BURDEN_COLUMN_ai_all_judged: return (double)c->set[BURDEN_all].judged;
    case BURDEN_COLUMN_ineffective_index_pct: return burden_ineffective_index_pct(c, WITH_POSSIBLE);
    case BURDEN_COLUMN_ineffective_per_h: return burden_events_per_h(c, OF(ineffective_effort), WITH_POSSIBLE);
    case BURDEN_COLUMN_stacked_ml_per_h: return burden_stacked_ml_h(c, WITH_POSSIBLE);
    case BURDEN_COLUMN_asynchrony_time_pct: return burden_time_pct(c);
    case BURDEN_COLUMN_asynchrony_time_s: return (double)c->timed_ns / 1e9;
    case BURDEN_COLUMNS: break;
    }
    return (double)NAN;
}
