/* Secretions: a saw-tooth of 4 to 15 Hz on expired flow while it is fast, gone while it is slow. A breath shows it where the ripple
 * of its fast expired flow has an rms of 0.012 L/s (2 L/min from peak to peak of a saw-tooth; by the patient's size) and is half
 * again over the noise and the ripple of the same expiration's slow end, and has two and a half cycles at least (a stiff lung's
 * fast fall bends once) that last (a push comes and goes). Told where 60 % of the breaths show it, for half a
 * minute: two minutes would be too late for the rows that lie in it. Needs 50 Hz. Water in the tubing moves the flow as well:
 * while that is told, these are not.
 * Source: 4 to 15 Hz, sensitivity 0.76 to 0.86 and specificity 0.86 to 0.90 of such a sign for secretions: Jubran and Tobin, Chest
 * 1994; that moderate truth is why it is never definite. Sizes and shares: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_SECRETIONS_H
#define TIDEMARK_ANALYZE_SECRETIONS_H

#include "analyze/breath/seg.h"
#include "analyze/manoeuvres/episode.h"
#include "analyze/manoeuvres/ripple.h"

struct secretions {
    struct episode episode;
};

/* fast: the ripple of flow while it is fast; slow: of the same expiration's end, n 0: none to compare with. */
bool secretions_breath(struct secretions *s, const struct seg_breath *b, const struct ripple *fast, const struct ripple *slow,
                       double flow_scale, struct event *out);
bool secretions_cut(struct secretions *s, struct event *out);

#endif
