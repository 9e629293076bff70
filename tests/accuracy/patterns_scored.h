/* Patterns judged breath by breath: truth's column (1, 0, or empty: in the band, not scored) against the flags of the found breath.
 *
 * Of patterns of effort only efforts of at least max(3 cmH2O, 2 heart bumps) have to be found: smaller ones are in the band. An
 * effort during an inflation that nothing answered may be called ineffective or reverse-triggered: either is right. */
#ifndef TIDEMARK_TESTS_ACCURACY_PATTERNS_SCORED_H
#define TIDEMARK_TESTS_ACCURACY_PATTERNS_SCORED_H

#include <stdbool.h>
#include <stddef.h>

enum scored {
    SCORED_ineffective_effort, SCORED_double_trigger, SCORED_auto_trigger, SCORED_reverse_trigger, SCORED_early_cycling,
    SCORED_late_cycling, SCORED_trigger_delay, SCORED_insufficient_flow, SCORED_pressure_overshoot, SCORED_incomplete_exhalation,
    SCORED_flow_limitation, SCORED_expiratory_effort, PATTERNS_SCORED
};

struct pattern_bar {
    const char *name;
    double sensitivity, ppv, specificity; /* at least, % */
    bool by_effort; /* small efforts are in the band */
};
const struct pattern_bar *pattern_scored(size_t i);

enum pattern_said { SAID_NOTHING, SAID_UNJUDGED, SAID_POSSIBLE, SAID_DEFINITE };
static inline bool pattern_flagged(enum pattern_said said)
{
    return said >= SAID_POSSIBLE;
}
/* From a row's cells: names joined by ';' and code:name,name;... A flag is taken for a possible one. */
enum pattern_said pattern_said(const char *flags, const char *unjudged, const char *name);
/* Its place; PATTERNS_SCORED: no such name. */
size_t pattern_place(const char *name);
/* Enters truth's band for a breath: pmus_max, bump in cmH2O. */
void pattern_band(int is[PATTERNS_SCORED], double pmus_max_cmh2o, double bump_cmh2o);
/* Either name: takes the one that was said for the other. */
void pattern_either(int is[PATTERNS_SCORED], enum pattern_said said[PATTERNS_SCORED]);

/* truth: 1 is, 0 is not, -1 not scored. */
struct pattern_count {
    size_t is, is_flag, is_unjudged; /* truly so: in all, flagged, said to be unjudged */
    size_t isnt, isnt_flag;
    size_t is_definite, isnt_definite; /* of the flagged ones */
};
void pattern_count_add(struct pattern_count *c, int truth, enum pattern_said said);

#endif
