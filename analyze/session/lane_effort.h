/* Efforts of each breath, one breath late: a peak is judged when the breath after it has closed, by the mechanics known before
 * its own breath began. They wait with the rows and leave 120 s after their end (struct engine_sink). */
#ifndef TIDEMARK_ANALYZE_LANE_EFFORT_H
#define TIDEMARK_ANALYZE_LANE_EFFORT_H

#include "analyze/breath/row.h"
#include "analyze/mechanics/effort.h"

struct lane;

/* A breath has closed: mechanics are noted for it, and the breath before it is judged. Before its own fit is entered. */
void lane_effort_breath(struct lane *l, const struct seg_breath *b, bool pulled, struct breath_row *row);
/* The run ends: the last breath is judged by the samples there are. */
void lane_effort_cut(struct lane *l);

#endif
