/* How efforts and machine acts relate in a window of breaths: what the patterns of timing share.
 *
 * An effort is a breath's own if it was under way when the machine began to deliver; it is answered if a breath began from its start
 * until 0.1 s after its neural end. Definitions as fixtures/truth-files.md has them; times common practice, no source. */
#ifndef TIDEMARK_ANALYZE_ACTS_H
#define TIDEMARK_ANALYZE_ACTS_H

#include "analyze/patterns/pattern.h"

/* The effort of breath k (index into w->at); NULL: none is known. */
const struct effort *acts_own(const struct pattern_window *w, int k);
/* Did a breath begin in it, or hardly after? One that hadn't begun when the effort was half over already is no answer. */
bool acts_answered(const struct pattern_window *w, const struct effort *e);
/* Efforts that start in breath k, from *from on; NULL at the end. */
const struct effort *acts_next(const struct pattern_window *w, int k, int *from);
/* Why efforts of this breath can't be told; WHY_NONE. */
enum reason acts_unfit(const struct pattern_window *w, int k);
/* Is the effort's size twice the heart's bump? A flag needs that. */
bool acts_over_heart(const struct pattern_window *w, int k, const struct effort *e, double ratio);
/* Does it begin at the spike of collapsing airways? Muscles that pull there cut the peak of expired flow; in a spike on a slow tail the
 * lung is limited, and no linear model of it holds from 0.1 s before to 0.3 s after the start of expiration. */
bool acts_at_spike(const struct pattern_window *w, int k, const struct effort *e);
/* A machine's breath that its patient triggered, or that may have been. */
bool acts_triggered(const struct breath_row *row);

static inline double acts_s(int64_t from_ns, int64_t to_ns)
{
    return (double)(to_ns - from_ns) * 1e-9;
}

/* What acts_evidence() enters, for a pattern's table. */
#define ACTS_EVIDENCE                                                                    \
    {"effort_cmh2o", "cm[H2O]", "size of the effort, as muscle pressure"},               \
    {"sd_cmh2o", "cm[H2O]", "its standard deviation"},                                   \
    {"mechanics", "", "good, fair or poor: how well the constants behind it are known"}

/* Size, its standard deviation, and what constants stand behind it. */
void acts_evidence(struct pattern_verdict *o, const struct effort *e);
const char *acts_quality(enum mechanics_quality q);

#endif
