/* Patterns judged breath by breath: truth's column (1, 0, or empty: in the band, not scored) against the flags of the found breath.
 * Definite and possible count alike here. */
#ifndef TIDEMARK_TESTS_ACCURACY_PATTERNS_SCORED_H
#define TIDEMARK_TESTS_ACCURACY_PATTERNS_SCORED_H

#include <stdbool.h>
#include <stddef.h>

#define PATTERNS_SCORED 2

struct pattern_bar {
    const char *name;
    double sensitivity, ppv, specificity; /* at least, % */
};
const struct pattern_bar *pattern_scored(size_t i);

enum pattern_said { SAID_NOTHING, SAID_FLAG, SAID_UNJUDGED };
/* From a row's cells: names joined by ';' and code:name,name;... */
enum pattern_said pattern_said(const char *flags, const char *unjudged, const char *name);

/* truth: 1 is, 0 is not, -1 not scored. */
struct pattern_count {
    size_t is, is_flag, is_unjudged; /* truly so: in all, flagged, said to be unjudged */
    size_t isnt, isnt_flag;
};
void pattern_count_add(struct pattern_count *c, int truth, enum pattern_said said);

#endif
