/* Breaths and flags made by hand, for what is counted from them. */
#ifndef TIDEMARK_TESTS_TABLES_BURDEN_KIT_H
#define TIDEMARK_TESTS_TABLES_BURDEN_KIT_H

#include <math.h>
#include <string.h>

#include "analyze/patterns/pattern.h"

/* Supported breath number n (from 1) of s seconds that begins at at_s; everything judged, nothing measured. */
static inline struct breath_row made_breath(uint64_t n, double at_s, double s)
{
    struct breath_row r;
    memset(&r, 0, sizeof r);
    r.number = n;
    r.t0_ns = (int64_t)(at_s * 1e9);
    r.t2_ns = r.t0_ns + (int64_t)(s * 1e9);
    r.complete = true;
    r.kind = KIND_SUPPORTED;
    r.control = CONTROL_PRESSURE;
    r.initiation = INIT_PATIENT;
    for (int c = 0; c < COL_N; c++)
        r.v[c] = (double)NAN;
    return r;
}

static inline struct flag made_flag(const struct breath_row *r, enum pattern_id p, enum confidence c)
{
    struct flag f;
    memset(&f, 0, sizeof f);
    f.breath = r->number;
    f.pattern = p;
    f.what.confidence = c;
    f.what.at_ns = r->t0_ns;
    return f;
}

#endif
