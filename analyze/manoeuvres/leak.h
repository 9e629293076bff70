/* Leak: a stretch in which over 15 % of what goes in does not come back, for ten breaths; it ends where ten breaths in a row stay
 * under 10 %. Volumes as the sensor gives them: an offset of its zero looks alike, and so does gas added on the machine's side; what
 * comes out in excess never does. Definite from 20 %, where no plain offset reaches. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_LEAK_H
#define TIDEMARK_ANALYZE_LEAK_H

#include "analyze/manoeuvres/episode.h"

struct leak_watch {
    struct episode episode;
};

/* leak_pct: the row's, NAN: not known. net_l: what stayed away of this breath, vti_l: what it took in. */
bool leak_breath(struct leak_watch *w, const struct breath_row *row, double net_l, struct event *out);
/* Nothing that was counted since from_ns counts: a stretch without breaths began there, as is known now. */
bool leak_watch_forget(struct leak_watch *w, int64_t from_ns, struct event *out);
bool leak_cut(struct leak_watch *w, struct event *out);

#endif
