/* Nebulisation with gas that joins between sensor and patient: it flows out past the sensor and never in. Flow at the end of
 * expiration, and the balance of whole breaths, step outwards by 0.06 to 0.18 L/s within three breaths, and stand there (sd of
 * the balance under 0.03 L/s) for 8 breaths and 60 s: so soon that rows from its start can carry `added_flow`. It ends where the balance
 * is back by half. A sensor's zero that is moved looks alike: never definite. Gas that joins on the machine's side reads as breath
 * and can't be told; devices without gas of their own neither. Driving flows of 5 to 9 L/min: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_NEBULISATION_H
#define TIDEMARK_ANALYZE_NEBULISATION_H

#include "analyze/breath/row.h"

#define NEBULISATION_BREATHS 32

struct nebulisation {
    struct {
        int64_t t0_ns, t2_ns;
        double out_l_s, end_l_s, vt_l; /* balance of the breath and flow at its end, outwards */
    } last[NEBULISATION_BREATHS]; /* the newest at (n - 1) % NEBULISATION_BREATHS */
    uint64_t n;
    bool stands, open; /* stands: a step was seen; open: for long enough */
    int64_t start_ns, end_ns, told_from_ns;
    double before_l_s, after_l_s, vt_before_l, vt_sum_l;
    int breaths, misses;
};

/* A complete breath. True: *out tells of one that has ended, or of ten minutes of one. */
bool nebulisation_breath(struct nebulisation *s, const struct breath_row *row, double net_l, struct event *out);
bool nebulisation_cut(struct nebulisation *s, struct event *out);

#endif
