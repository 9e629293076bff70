/* What the engine needs to know of columns; the rest (texts) is the tables' business. */
#ifndef TIDEMARK_ANALYZE_COLUMNS_H
#define TIDEMARK_ANALYZE_COLUMNS_H

#include "analyze/breath/row.h"

bool column_built(enum col c);      /* computed by this version */
bool column_needs_flow(enum col c); /* meaningless without a calibrated flow: empty with no_calib */

#endif
