#include "tests/accuracy/patterns_scored.h"

#include <math.h>
#include <string.h>

const struct pattern_bar *pattern_scored(size_t i)
{
    static const struct pattern_bar bars[PATTERNS_SCORED] = {
        {"ineffective_effort", 92, 92, 99, true},   {"double_trigger", 98, 98, 99.8, true},
        {"auto_trigger", 85, 88, 99, false},        {"reverse_trigger", 91, 95, 99.5, true},
        {"early_cycling", 96, 93, 99.3, true},      {"late_cycling", 93, 95, 99, true},
        {"trigger_delay", 88, 92, 98, true},        {"insufficient_flow", 95, 96, 99, false},
        {"pressure_overshoot", 97, 97, 99.5, false}, {"incomplete_exhalation", 96, 94, 99, false},
        {"flow_limitation", 82, 94, 98.5, false},   {"expiratory_effort", 90, 90, 99, false},
    };
    return &bars[i];
}

/* Is the name one of those that `text` lists between any of " ;:,"? */
static bool listed(const char *text, const char *name)
{
    size_t n = strlen(name);
    for (const char *p = text; (p = strstr(p, name)) != NULL; p += n) {
        bool starts = p == text || strchr(";:,", p[-1]) != NULL;
        if (starts && (p[n] == '\0' || strchr(";:,", p[n]) != NULL)) {
            return true;
        }
    }
    return false;
}

enum pattern_said pattern_said(const char *flags, const char *unjudged, const char *name)
{
    return listed(flags, name) ? SAID_POSSIBLE : listed(unjudged, name) ? SAID_UNJUDGED : SAID_NOTHING;
}

size_t pattern_place(const char *name)
{
    size_t i = 0;
    while (i < PATTERNS_SCORED && strcmp(pattern_scored(i)->name, name) != 0) {
        i++;
    }
    return i;
}

void pattern_band(int is[PATTERNS_SCORED], double pmus_max_cmh2o, double bump_cmh2o)
{
    for (size_t i = 0; i < PATTERNS_SCORED; i++) {
        if (is[i] == 1 && pattern_scored(i)->by_effort && !(pmus_max_cmh2o >= fmax(3, 2 * bump_cmh2o))) {
            is[i] = -1;
        }
    }
}

void pattern_either(int is[PATTERNS_SCORED], enum pattern_said said[PATTERNS_SCORED])
{
    const size_t a = SCORED_ineffective_effort, b = SCORED_reverse_trigger;
    if (is[a] == 1 && !pattern_flagged(said[a]) && pattern_flagged(said[b])) {
        said[a] = said[b];
    }
    if (is[a] == 1 && is[b] == 0 && pattern_flagged(said[b])) {
        is[b] = -1;
    }
    if (is[b] != 0 && is[a] == 0 && pattern_flagged(said[a])) {
        is[a] = -1;
    }
}

void pattern_count_add(struct pattern_count *c, int truth, enum pattern_said said)
{
    if (truth == 1) {
        c->is++;
        c->is_flag += pattern_flagged(said);
        c->is_definite += said == SAID_DEFINITE;
        c->is_unjudged += said == SAID_UNJUDGED;
    } else if (truth == 0) {
        c->isnt++;
        c->isnt_flag += pattern_flagged(said);
        c->isnt_definite += said == SAID_DEFINITE;
    }
}
