/* What depends on the size of the patient: adult values, smaller for children and infants.
 * Sources: common practice, no source; 40 and 4 mL count as a breath. */
#ifndef TIDEMARK_ANALYZE_SCALE_H
#define TIDEMARK_ANALYZE_SCALE_H

#include "ingest/sample.h"

struct breath_scale {
    double flow;        /* factor on flow thresholds (adult 1) */
    double volume;      /* factor on volume thresholds (adult 1) */
    double time;        /* factor on times that go with the length of a breath (adult 1) */
    double count_min_l; /* inspired volume from which it is a breath */
};

struct breath_scale breath_scale_of(enum patient_size size);

#endif
