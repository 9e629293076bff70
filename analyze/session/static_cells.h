/* Plateau, static compliance, driving pressure, auto-PEEP and what goes with it: what is known of a row only among its
 * neighbours, when it leaves (internal to pending). */
#ifndef TIDEMARK_ANALYZE_STATIC_CELLS_H
#define TIDEMARK_ANALYZE_STATIC_CELLS_H

#include "analyze/session/pending.h"

/* Fills the cells of waiting row i; rows before it have theirs, its kind is known. */
void static_cells(struct pending *p, uint64_t i, const struct noise *z);

/* Flow out of this row is limited, or may be: what flow and fits told of its end is taken back; a hold's stays. */
void static_limited(struct breath_row *row);

/* Adds static compliance to an inspiratory hold that leaves now: the row before its own has left. */
void static_event(struct pending *p, struct event *e);

/* A hold has been found: its row gets the reading, and airway PEEP from before the valves shut. */
void static_held(struct pending *p, const struct hold_reading *h);

#endif
