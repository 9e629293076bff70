/* Patterns. An unjudged true breath counts as not found: silence is no way to pass. */
#include <stdio.h>

#include "tests/accuracy/bars_internal.h"

static bool not_heavy(const struct record *rec, const struct patient *p, const void *unused)
{
    (void)rec;
    (void)unused;
    return p->stratum != HEAVY && p->series != SERIES_QUIET;
}

int bars_patterns(struct bars *b, const struct records *r, const struct patient *patients)
{
    struct sum s;
    int rc = sum_part(&s, r, patients, not_heavy, NULL);
    for (size_t i = 0; i < PATTERNS_SCORED; i++) {
        const struct pattern_bar *p = pattern_scored(i);
        const struct pattern_count *c = &s.pattern[i];
        bar_add_share(b, p->name, "sensitivity, %", c->is_flag, c->is, p->sensitivity, true, 1);
        bar_add_share(b, p->name, "positive predictive value, %", c->is_flag, c->is_flag + c->isnt_flag, p->ppv, true, 1);
        bar_add_share(b, p->name, "specificity, %", c->isnt - c->isnt_flag, c->isnt, p->specificity, true, 2);
        size_t definite = c->is_definite + c->isnt_definite, flags = c->is_flag + c->isnt_flag;
        if (definite > 0) {
            bar_add_share(b, p->name, "of the definite ones right, %", c->is_definite, definite, 95, true, 1);
        }
        if (flags > definite) {
            bar_add_share(b, p->name, "of the possible ones right, %", c->is_flag - c->is_definite, flags - definite, 60, true, 1);
        }
    }
    sum_free(&s);
    return rc;
}
