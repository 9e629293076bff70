/* The shape of a pattern: what it is called, looks like, is told by and mistaken for, and the function that judges one breath
 * among its neighbours. Name, title and meaning stand in analyze/tables/patterns.def (PATTERN(...) with built 1); everything else
 * in one struct pattern in one file of this room, and one line in pattern_of(). Options, dictionary, describe and docs follow.
 *
 * definite: at least 95 of 100 such flags are right, by what is known of the causes; possible: at least 60. A breath that can't be
 * judged has a reason; absent is an answer too. Parameters of flow are an adult's: they are multiplied by flow_scale. */
#ifndef TIDEMARK_ANALYZE_PATTERN_H
#define TIDEMARK_ANALYZE_PATTERN_H

#include "analyze/breath/beat.h"
#include "analyze/breath/overshoot.h"
#include "analyze/mechanics/muscle.h"
#include "analyze/patterns/expiration.h"

#define PATTERN_REACH    12 /* breaths to either side */
#define PATTERN_PARAMS   9  /* at most, of one pattern */
#define PATTERN_EVIDENCE 12
#define FLAGS_MOST       32 /* of one breath */

struct pattern_param {
    const char *name, *unit; /* name without a unit's ending where the unit is ""; UCUM */
    double dflt, low, high;
    const char *meaning, *source;
};

/* Values of all parameters, by pattern and place in its table. */
struct pattern_settings {
    double v[PATTERN_N][PATTERN_PARAMS];
};

struct pattern_breath {
    const struct breath_row *row;
    const struct breath_more *more;
    const struct expiration *exp;
    const struct muscle *muscle;
    const struct overshoot *over;
    const struct beat *beat;
    bool held; /* an expiratory hold ends it */
    uint8_t alike; /* enum alike of alike.h, bits: what it lies in */
    double hr_per_min; /* the heart's, where that is one; 0: not known */
};

/* What tells limited flow, over the neighbours: flow_limitation.c. */
struct limitation_signs {
    double ratio, drop, tau_s, yield, meets; /* NAN: too few breaths */
    int breaths;
    bool read;
};

struct pattern_window {
    struct pattern_breath at[2 * PATTERN_REACH + 1]; /* in order; neighbours that aren't there are left out */
    int n, own;
    const struct effort *effort; /* of these breaths, in order of their peaks */
    int n_efforts;
    struct limitation_signs limited; /* once flow_limitation_suspected() has looked */
    int nth; /* how many flags of this pattern the breath has got already */
    double flow_scale, time_scale; /* of the patient's size; adult 1 */
    double rate_hz;
};

struct pattern_verdict {
    enum confidence confidence; /* CONF_NONE: absent, if judged */
    enum reason unjudged;       /* WHY_NONE: it was judged */
    bool more;                  /* there may be another in this breath: judge again with the next nth */
    int64_t at_ns;
    int n;
    struct event_value evidence[PATTERN_EVIDENCE];
};

/* One flag, for flags.csv. */
struct flag {
    uint64_t breath; /* its number; 0: none */
    enum pattern_id pattern;
    struct pattern_verdict what;
};

struct pattern_evidence {
    const char *key, *unit, *meaning;
};

struct pattern {
    const char *signature;  /* in pressure and flow */
    const char *confidence; /* when definite, when possible */
    const char *alike;      /* what looks like it, and how it is told apart */
    const struct pattern_param *params;      /* ended by a NULL name; at most PATTERN_PARAMS */
    const struct pattern_evidence *evidence; /* ended by a NULL key */
    /* p: values of params in their order. *out is zeroed. */
    void (*judge)(const struct pattern_window *w, const double *p, struct pattern_verdict *out);
};

extern const struct pattern pattern_ineffective_effort, pattern_double_trigger, pattern_auto_trigger, pattern_reverse_trigger,
    pattern_early_cycling, pattern_late_cycling, pattern_trigger_delay, pattern_insufficient_flow, pattern_pressure_overshoot,
    pattern_incomplete_exhalation, pattern_flow_limitation, pattern_expiratory_effort;

/* NULL: not built. */
const struct pattern *pattern_of(enum pattern_id p);

void pattern_defaults(struct pattern_settings *s);
/* "PATTERN.PARAM" and a value. False: there is no such parameter (*why says so) or the value is out of its range. */
bool pattern_set(struct pattern_settings *s, const char *name, size_t len, double value, const char **why) MUST_USE;

/* All built patterns on the window's own breath: fills found[] and judged/unjudged of *row. Returns how many flags. */
int patterns_judge(struct pattern_window *w, const struct pattern_settings *s, struct breath_row *row,
                   struct flag found[FLAGS_MOST]);

static inline void evidence_number(struct pattern_verdict *o, const char *key, double v, int decimals)
{
    if (o->n < PATTERN_EVIDENCE)
        o->evidence[o->n++] = (struct event_value){.key = key, .number = v, .decimals = decimals};
}
static inline void evidence_word(struct pattern_verdict *o, const char *key, const char *word)
{
    if (o->n < PATTERN_EVIDENCE)
        o->evidence[o->n++] = (struct event_value){.key = key, .number = (double)NAN, .text = word};
}

/* Has this one expiration the shape that flow_limitation looks for, by its defaults? Muscles or not: false where it has no tail. */
bool flow_limitation_shape(const struct expiration *x, double time_scale);

/* Does the muscles' pressure show a push, by the defaults of expiratory_effort? */
bool expiratory_effort_shape(const struct pattern_breath *b, double time_scale);

/* Flow out may be limited: some sign of it, too weak for a flag or not. p: the pattern's parameters. */
bool flow_limitation_suspected(struct pattern_window *w, const double *p);

/* Why no pattern of expiration can be judged in this breath; WHY_NONE. Leak over most_pct is one. */
enum reason expiration_unfit(const struct pattern_breath *b, double leak_most_pct);

#endif
