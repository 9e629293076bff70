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
