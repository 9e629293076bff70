#include "analyze/patterns/pattern.h"

#include "analyze/patterns/alike.h"

#include <string.h>

#define PUSHES    4
#define PUSHES_OF 10

const struct pattern *pattern_of(enum pattern_id p)
{
    switch (p) {
    case PATTERN_ineffective_effort:
        return &pattern_ineffective_effort;
    case PATTERN_double_trigger:
        return &pattern_double_trigger;
    case PATTERN_auto_trigger:
        return &pattern_auto_trigger;
    case PATTERN_reverse_trigger:
        return &pattern_reverse_trigger;
    case PATTERN_early_cycling:
        return &pattern_early_cycling;
    case PATTERN_late_cycling:
        return &pattern_late_cycling;
    case PATTERN_trigger_delay:
        return &pattern_trigger_delay;
    case PATTERN_insufficient_flow:
        return &pattern_insufficient_flow;
    case PATTERN_pressure_overshoot:
        return &pattern_pressure_overshoot;
    case PATTERN_incomplete_exhalation:
        return &pattern_incomplete_exhalation;
    case PATTERN_flow_limitation:
        return &pattern_flow_limitation;
    case PATTERN_expiratory_effort:
        return &pattern_expiratory_effort;
    default:
        return NULL;
    }
}

void pattern_defaults(struct pattern_settings *s)
{
    memset(s, 0, sizeof *s);
    for (int p = 0; p < PATTERN_N; p++) {
        const struct pattern *d = pattern_of((enum pattern_id)p);
        for (int i = 0; d && d->params[i].name; i++)
            s->v[p][i] = d->params[i].dflt;
    }
}

bool pattern_set(struct pattern_settings *s, const char *name, size_t len, double value, const char **why)
{
    *why = "there is no such parameter";
    for (int p = 0; p < PATTERN_N; p++) {
        const struct pattern *d = pattern_of((enum pattern_id)p);
        const char *own = pattern_name((enum pattern_id)p);
        const size_t n = strlen(own);
        if (!d || len <= n || strncmp(name, own, n) != 0 || name[n] != '.')
            continue;
        for (int i = 0; d->params[i].name; i++) {
            const struct pattern_param *q = &d->params[i];
            if (strlen(q->name) != len - n - 1 || strncmp(q->name, name + n + 1, len - n - 1) != 0)
                continue;
            *why = "the value is out of its range";
            if (!(value >= q->low && value <= q->high))
                return false;
            s->v[p][i] = value;
            return true;
        }
    }
    return false;
}

/* One pattern: its flags, found[0..]; returns how many. */
static int judge_one(struct pattern_window *w, enum pattern_id p, const double *params, struct breath_row *row,
                     struct flag *found, int most)
{
    const struct pattern *d = pattern_of(p);
    int n = 0;
    bool more = d != NULL;
    row->unjudged[p] = WHY_NONE;
    row->pattern[p] = CONF_NONE;
    for (w->nth = 0; more && n < most; w->nth++) {
        struct flag *f = &found[n];
        *f = (struct flag){.breath = row->number, .pattern = p};
        d->judge(w, params, &f->what);
        more = f->what.more;
        alike_weigh(w, p, &f->what);
        if (f->what.unjudged != WHY_NONE) {
            row->unjudged[p] = (uint8_t)f->what.unjudged;
            return 0;
        }
        if (f->what.confidence > row->pattern[p])
            row->pattern[p] = (uint8_t)f->what.confidence;
        n += f->what.confidence != CONF_NONE;
    }
    return n;
}

/* Active expiration here, or in PUSHES of the breaths before: its flow says nothing of the lung's pressure. */
static bool pushes(const struct pattern_window *w, const struct breath_row *row)
{
    int before = 0;
    for (int i = w->own - 1; i >= 0 && i >= w->own - PUSHES_OF; i--)
        before += w->at[i].row->pattern[PATTERN_expiratory_effort] != CONF_NONE;
    return row->pattern[PATTERN_expiratory_effort] != CONF_NONE || before >= PUSHES;
}

/* Takes back the flags of p: it can't be judged. */
static int without(enum pattern_id p, struct breath_row *row, struct flag *found, int n)
{
    int kept = 0;
    for (int i = 0; i < n; i++)
        if (found[i].pattern != p)
            found[kept++] = found[i];
    if (kept < n) {
        row->pattern[p] = CONF_NONE;
        row->unjudged[p] = WHY_effort_suspected;
    }
    return kept;
}

int patterns_judge(struct pattern_window *w, const struct pattern_settings *s, struct breath_row *row,
                   struct flag found[FLAGS_MOST])
{
    int n = 0;
    for (int p = 0; p < PATTERN_N; p++)
        n += judge_one(w, (enum pattern_id)p, s->v[p], row, found + n, FLAGS_MOST - n);
    return pushes(w, row) && row->autopeep_basis != AUTOPEEP_HOLD ? without(PATTERN_incomplete_exhalation, row, found, n) : n;
}

enum reason expiration_unfit(const struct pattern_breath *b, double leak_most_pct)
{
    const struct breath_row *row = b->row;
    if (!row->complete)
        return row->why[COL_ttot_s] ? (enum reason)row->why[COL_ttot_s] : WHY_gap;
    if (row->quality & UINT64_C(1) << WHY_gap)
        return WHY_gap;
    if (row->quality & UINT64_C(1) << WHY_event)
        return WHY_event;
    if (row->quality & UINT64_C(1) << WHY_no_calib)
        return WHY_no_calib;
    if (row->v[COL_leak_pct] > leak_most_pct)
        return WHY_leak_high;
    return b->exp->why;
}
