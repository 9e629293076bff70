/* Does flow out follow the pressure that drives it? Read from the first part of an expiration that a machine's inspiration
 * comes before, muscles at rest. There p falls from its end-inspiratory level to PEEP, by the drive D, while the valve opens.
 *
 *   yield  From the peak of flow on flow falls. A lung that follows, R q = P(v) - p with any R that does not fall with less
 *          flow, can then lose airway pressure no faster than its own: p(peak) - p(t) <= E dv, and E dv / D <= dv / VTe. What
 *          p falls by beyond that, over D, is driving pressure that was added and moved nothing: 0 or less in a lung that
 *          follows, up to 1 in one whose flow stands at its most while p still falls.
 *   meets  ((D - R_in q_in) (1 - v/V) - (p - PEEP)) / q once the valve is open: alveolar less airway pressure over flow out,
 *          V the volume at which the tail's line of flow on volume ends. The resistance of inspiration is the yardstick.
 *
 * Equation of motion; the definition of flow limitation as flow that more driving pressure does not raise at the same volume
 * (Pride, 1967; Hyatt, 1958; from memory). The window: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_OUTFLOW_H
#define TIDEMARK_ANALYZE_OUTFLOW_H

#include "analyze/breath/ring.h"

struct outflow {
    double drive_cmh2o; /* D; NAN: nothing was read */
    double q_in_l_s;    /* flow in at the end of inspiration */
    double most_l_s;    /* peak of flow out, mean of 20 ms */
    double yield;       /* NAN: the drive is too small to tell */
    double rises;       /* most by which flow rose again after its peak, of that peak */
    double open_l_s, open_cmh2o, open_l; /* once the valve is open: flow out, pressure above PEEP, volume out until there */
};

/* meets, cmH2O s/L; left_l: V. */
static inline double outflow_meets(const struct outflow *x, double r_in_cmh2o_s_l, double left_l)
{
    return ((x->drive_cmh2o - r_in_cmh2o_s_l * x->q_in_l_s) * (1 - x->open_l / left_l) - x->open_cmh2o) / x->open_l_s;
}

/* i1 and end: samples at or just before expiration's start and end; vte_l: expired between; lag_s: of flow behind pressure. */
void outflow_read(const struct ring *r, uint64_t i1, uint64_t end, double lag_s, double leak_l_s, double vte_l, struct outflow *x);

#endif
