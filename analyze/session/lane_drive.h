/* What a breath's start tells of drive and triggering, read as it closes (internal to lane). */
#ifndef TIDEMARK_ANALYZE_LANE_DRIVE_H
#define TIDEMARK_ANALYZE_LANE_DRIVE_H

#include "analyze/session/lane.h"

/* p: the newest row, measured. */
void lane_drive(struct lane *l, const struct seg_breath *b, struct pending_row *p);

#endif
