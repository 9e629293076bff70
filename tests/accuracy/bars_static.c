/* Holds and what is read in them; auto-PEEP without a hold. */
#include <math.h>
#include <string.h>

#include "tests/accuracy/bars_internal.h"

#define NIGHT_S 28800.0

enum lung_of { LINEAR, UNEQUAL, LIMITED };

struct scope {
    enum lung_of lung;
    bool clean; /* clean alone, else clean and ordinary */
};

/* Eligible (truth.md) and passive, from 50 Hz, exact sensor; a limited breath is never eligible: it has to be passive. */
static bool in_scope(const struct record *rec, const struct patient *p, const void *argument)
{
    const struct scope *s = argument;
    bool measured = p->rate_hz >= 50 && p->exact_sensor && p->stratum != HEAVY && (!s->clean || p->stratum == CLEAN);
    switch (s->lung) {
    case LINEAR:
        return measured && rec->eligible && rec->plain;
    case UNEQUAL:
        return measured && rec->eligible && rec->unequal;
    case LIMITED:
        return measured && rec->passive && rec->efl_share > 0.4;
    }
    return false;
}

static void hold_bars(struct bars *b, const struct records *r)
{
    size_t false_ones = 0;
    for (size_t i = 0; i < EVENT_NAMES; i++) {
        const struct event_count *e = &r->events[i];
        char what[64];
        if (!strstr(judged_event(i), "hold")) {
            continue;
        }
        snprintf(what, sizeof what, "%s found, %%", judged_event(i));
        bar_add_share(b, "", what, e->found, e->truly, 95, true, 1);
        false_ones += e->extra;
    }
    bar_add(b, "", "holds said where none is, in 8 h", (double)false_ones * NIGHT_S / r->holds.seconds, 1, false, 2);
    for (int i = 0; i < HOLD_VALUES; i++) {
        const struct numbers *s = &r->holds.off[i];
        size_t near = 0;
        char what[64];
        if (i == HOLD_AUTO) {
            continue; /* airway PEEP's error is in it: printed, no bar */
        }
        for (size_t k = 0; k < s->n; k++) {
            near += fabs(s->v[k]) <= hold_value_within((enum hold_value)i);
        }
        snprintf(what, sizeof what, "hold: %s, within %g, of those given, %%", hold_value_title((enum hold_value)i),
                 hold_value_within((enum hold_value)i));
        bar_add_share(b, "", what, near, s->n, 95, true, 1);
    }
}

int bars_static(struct bars *b, const struct records *r, const struct patient *patients)
{
    struct sum s;
    hold_bars(b, r);
    int rc = sum_part(&s, r, patients, in_scope, &(struct scope){LINEAR, false});
    bar_add(b, "", "auto-PEEP, passive linear lungs: bias, cmH2O", fabs(numbers_mean(&s.f[F_AUTOPEEP])), 0.3, false, 2);
    bar_add(b, "", "auto-PEEP, passive linear lungs: 95 % limits, +- cmH2O", 1.96 * numbers_sd(&s.f[F_AUTOPEEP]), 1, false, 2);
    sum_free(&s);
    rc |= sum_part(&s, r, patients, in_scope, &(struct scope){LINEAR, true});
    bar_add_share(b, "clean", "auto-PEEP given, of eligible breaths of linear lungs, %", s.auto_given, s.auto_of, 90, true, 1);
    sum_free(&s);
    rc |= sum_part(&s, r, patients, in_scope, &(struct scope){UNEQUAL, false});
    size_t above = 0;
    for (size_t i = 0; i < s.f[F_AUTOPEEP].n; i++) {
        above += s.f[F_AUTOPEEP].v[i] > 1;
    }
    bar_add_share(b, "", "auto-PEEP, unequal lungs: over truth by more than 1 cmH2O, %", above, s.f[F_AUTOPEEP].n, 0, false, 2);
    sum_free(&s);
    rc |= sum_part(&s, r, patients, in_scope, &(struct scope){LIMITED, false});
    bar_add_share(b, "", "auto-PEEP given in flow-limited breaths, %", s.auto_given, s.auto_of, 2, false, 2);
    sum_free(&s);
    return rc;
}
