/* Work that the machine does in inspiration, t0 to t1: the integral of airway pressure over the gas that goes in,
 *
 *   work = integral of p dV,   above PEEP = work - PEEP V,   power = work times rate,   1 cmH2O L = 0.0980665 J.
 *
 * Definition; the factor follows from the conventional cmH2O of 98.0665 Pa. Flow is taken lag_s later than pressure,
 * which it lags. Between samples pressure runs straight, but for the step in which the machine opens: the gas of that step
 * goes in at the pressure after it. Nothing is added across a hole. It is the machine's work: of what a patient's muscles
 * do, airway pressure holds nothing. */
#ifndef TIDEMARK_ANALYZE_WORK_H
#define TIDEMARK_ANALYZE_WORK_H

#include "analyze/breath/seg.h"

#define JOULE_PER_CMH2O_L 0.0980665

struct work {
    bool there;       /* the breath has a t1, and gas went in */
    double cmh2o_l;   /* integral of p dV over inspiration */
    double volume_l;  /* and of dV, over the same time */
    double peep_cmh2o; /* that the breath started from; set by the caller, NAN: not known */
};

/* Of a breath whose samples are in the ring. lag_s >= 0. peep_cmh2o is left NAN. */
void work_read(const struct ring *r, const struct seg_breath *b, double lag_s, struct work *out);

/* J/L; NAN unless PEEP is known. */
double work_per_litre(const struct work *w);
/* J/min at this rate. */
double work_power(const struct work *w, double rate_per_min);

#endif
