/* A row of hours.csv. */
#ifndef TIDEMARK_TABLES_HOURS_CSV_H
#define TIDEMARK_TABLES_HOURS_CSV_H

#include "analyze/session/hours.h"
#include "analyze/tables/cells.h"
#include "analyze/tables/table.h"

int csv_hour(struct cells *c, const struct recording_info *info, const struct hour_row *h) MUST_USE;

#endif
