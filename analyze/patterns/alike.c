#include "analyze/patterns/alike.h"

#include <math.h>
#include <string.h>

#define SURE_HEARTS 3.0

const struct pattern_evidence alike_evidence[] = {
    {"alike", "", "what was found in that stretch that looks alike: secretions, condensate, hiccup, heart; the flag is possible at most"},
    {"hr_per_min", "/min", "the heart's rate there"},
    {0},
};

static double number_of(const struct pattern_verdict *v, const char *key)
{
    for (int i = 0; i < v->n; i++)
        if (strcmp(v->evidence[i].key, key) == 0)
            return v->evidence[i].number;
    return (double)NAN;
}

static void at_most_possible(struct pattern_verdict *v, const char *alike)
{
    if (v->confidence == CONF_DEFINITE)
        v->confidence = CONF_POSSIBLE;
    evidence_word(v, "alike", alike);
}

static bool needs_balance(enum pattern_id p)
{
    return p == PATTERN_incomplete_exhalation || p == PATTERN_flow_limitation || p == PATTERN_expiratory_effort;
}

static void withhold(struct pattern_verdict *v, enum reason why)
{
    *v = (struct pattern_verdict){.unjudged = why};
}

void alike_weigh(const struct pattern_window *w, enum pattern_id p, struct pattern_verdict *v)
{
    const struct pattern_breath *b = &w->at[w->own];
    if (v->unjudged != WHY_NONE || b->alike == 0)
        return;
    if (b->alike & ALIKE_COUGH) {
        withhold(v, WHY_artefact);
        return;
    }
    if (b->alike & ALIKE_ADDED_GAS && needs_balance(p)) {
        withhold(v, WHY_added_flow);
        return;
    }
    if (v->confidence == CONF_NONE)
        return;
    const bool small = p == PATTERN_ineffective_effort || p == PATTERN_auto_trigger;
    const bool timed = p == PATTERN_ineffective_effort || p == PATTERN_early_cycling || p == PATTERN_late_cycling || p == PATTERN_trigger_delay;
    if (b->alike & ALIKE_SECRETIONS && timed)
        at_most_possible(v, "secretions");
    else if (b->alike & ALIKE_CONDENSATE && (timed || p == PATTERN_pressure_overshoot))
        at_most_possible(v, "condensate");
    else if (b->alike & ALIKE_HEART && p == PATTERN_ineffective_effort && b->muscle->read &&
             number_of(v, "effort_cmh2o") < SURE_HEARTS * b->muscle->heart_cmh2o)
        at_most_possible(v, "heart");
    if (b->alike & ALIKE_HEART && b->hr_per_min > 0 && (small || p == PATTERN_trigger_delay))
        evidence_number(v, "hr_per_min", b->hr_per_min, 0);
}
