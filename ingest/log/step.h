/* Where a sample without a step of its own lies: k nominal steps after its anchor (the time line or the last
 * sample with a step), rounded to the nearest nanosecond, halves up. Reader and writer share this. */
#ifndef TIDEMARK_INGEST_LOG_STEP_H
#define TIDEMARK_INGEST_LOG_STEP_H

#include <stdint.h>

#define RATE_NUM_MAX INT64_C(1000000000)
#define RATE_DEN_MAX INT64_C(1000000)
#define TIME_LINE_SAMPLES 1024 /* a time line stands at least every so many sample lines */

/* k <= TIME_LINE_SAMPLES; num and den within 1 and the limits above: no overflow. */
static inline int64_t nominal_ns(int64_t k, int64_t num, int64_t den)
{
    return (k * (INT64_C(1000000000) * den) + num / 2) / num;
}

#endif
