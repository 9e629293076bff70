#include "ingest/sample.h"

#include <math.h>
#include <string.h>

void recording_info_defaults(struct recording_info *info)
{
    memset(info, 0, sizeof *info);
    for (int c = 0; c < CH_N; c++)
        info->channel[c].decimals = -1;
    info->height_cm = (double)NAN;
    info->tube_mm = (double)NAN;
    info->circuit_c_ml_cmh2o = (double)NAN;
}

int64_t gap_limit_of(bool regular, int64_t step_ns)
{
    if (regular)
        return step_ns + step_ns / 2;
    const int64_t wide = step_ns * 5 / 2, least = NS_PER_S / 50;
    return wide > least ? wide : least;
}
