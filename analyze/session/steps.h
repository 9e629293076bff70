/* A step of a running median that stays: level before, level after, and the first value of the new one.
 *
 * The level is the median of the last 20 values near it. From the first value off by over half of what counts the next 20 values are
 * looked at together: their median is off by what counts, 16 of them lie on that side, and both levels scatter little against the step. Anything less is an
 * outlier, a drift or the patient, which the level follows. Common practice, no source. Fixed memory. */
#ifndef TIDEMARK_SESSION_STEPS_H
#define TIDEMARK_SESSION_STEPS_H

#include <stdbool.h>
#include <stdint.h>

#define STEP_VALUES 20
#define STEP_AGREE  16
#define STEP_SCATTER 0.15 /* median absolute deviation of either level, of the step: settings are steady, patients are not */
#define STEP_SPAN_S 600 /* 20 values that take longer, and levels older than this, tell no step */

struct step_finder {
    double level[STEP_VALUES]; /* a ring */
    double run[STEP_VALUES];
    int64_t run_ns[STEP_VALUES], last_ns;
    int n_level, next, n_run;
};

struct step {
    int64_t at_ns; /* of the first value of the new level */
    double from, to;
};

/* v at at_ns, in order. counts: how large a step counts, at least, and as a share of the level. True: *out is a step.
 * Zeroed memory has seen nothing. */
bool step_add(struct step_finder *f, double v, int64_t at_ns, double counts, double share, struct step *out);

#endif
