/* The plateau of one breath: of a hold, of a set pause, or where flow of pressure control has run out; and what follows
 * from it: driving pressures and static compliance. Rules as in hold_reading.h; common practice, no source. */
#ifndef TIDEMARK_ANALYZE_PLATEAU_H
#define TIDEMARK_ANALYZE_PLATEAU_H

#include "analyze/manoeuvres/hold_reading.h"

struct plateau {
    bool held;             /* an inspiratory hold: pause_cmh2o and pause_why are its reading */
    bool read_late;        /* ... from 1.5 s on */
    double pause_s;        /* time without flow at the end of inspiration */
    double pause_cmh2o;    /* read off it; NAN with pause_why */
    enum reason pause_why;
    double run_out_cmh2o;  /* mean pressure of the last 0.2 s, flow having run out; NAN: it had not */
    double start_l;        /* the ring's volume at t0 */
    double q_se_l_s;       /* standard error of a 50 ms mean of flow */
    double closed_l;       /* and 0.25 s after flow stopped (or at the end of inspiration) */
};

/* Of a breath that has just closed. */
void plateau_of(const struct shut_ctx *x, const struct seg_breath *b, struct plateau *out);

/* A hold that lies in it, known later. */
void plateau_held(struct plateau *p, const struct hold_reading *h);

/* What the breath started from: the end of the row before. */
struct plateau_before {
    bool there;
    bool extrapolated; /* expiration was shorter than its time constant: total PEEP is good for no quotient */
    double peep_cmh2o, total_peep_cmh2o, trapped_ml, end_exp_flow_l_s, te_s; /* NAN: unknown */
};

/* Fills pplat_cmh2o, driving_cmh2o, driving_airway_cmh2o, cstat_ml_cmh2o with their bases. The row's control and
 * initiation are known. `restless`: muscles are at work about it, so that a level that the machine holds is no plateau. */
void plateau_cells(const struct plateau *p, const struct plateau_before *before, bool restless,
                   struct breath_row *row);

/* Static compliance of inspired volume over a plateau; false: neither total PEEP nor a lung that had emptied. */
bool plateau_compliance(const struct plateau *p, double pplat_cmh2o, const struct plateau_before *before,
                        double *c_ml_cmh2o, enum cstat_basis *basis);

#endif
