/* What only looks like an effort: findings that other rooms have made of the stretch a breath lies in, and what they mean for its
 * flags. One place for all patterns:
 *
 *   cough        no flag: unjudged with `artefact`
 *   added gas    what rests on volumes or on flow at the end: unjudged with `added_flow`
 *   secretions, condensate    an ineffective effort, a termination or a trigger delay is possible at most; so is an overshoot
 *                with water in the tubing, which is a cause of false triggers, too
 *   hiccup       what rests on such an effort is possible at most: it is one, but no breath was wanted
 *   heart        an ineffective effort under three of its bumps is possible at most
 *
 * The flag's evidence says so: alike=secretions. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_ALIKE_H
#define TIDEMARK_ANALYZE_ALIKE_H

#include "analyze/patterns/pattern.h"

enum alike {
    ALIKE_COUGH = 1,
    ALIKE_ADDED_GAS = 2,
    ALIKE_SECRETIONS = 4,
    ALIKE_CONDENSATE = 8,
    ALIKE_HEART = 16
};

/* Takes back, or lowers, what pattern p said of the window's own breath. */
void alike_weigh(const struct pattern_window *w, enum pattern_id p, struct pattern_verdict *v);

/* Evidence that any flag may carry; ended by a NULL key. */
extern const struct pattern_evidence alike_evidence[];

#endif
