/* Who started a breath, what the machine controlled, and so its kind: judged among its neighbours (20 before,
 * 20 after), since one breath alone says little. Rules and constants: common practice, no source; set on
 * simulated recordings. */
#ifndef TIDEMARK_ANALYZE_CLASSIFY_H
#define TIDEMARK_ANALYZE_CLASSIFY_H

#include "analyze/breath/measure.h"

#define CLASSIFY_REACH 20

/* One neighbour. */
struct classify_item {
    const struct breath_row *row;
    struct breath_more *more;
};

/* What estimated muscle pressure says of who began a breath: nothing, an effort was under way, or none was although it could have
 * been seen. */
enum effort_sign { EFFORT_UNKNOWN, EFFORT_BEGAN_IT, EFFORT_NOT_BEFORE };

/* v[0..n): neighbours in order of time, v[k] the one to judge: its kind, initiation and control are set in
 * *row, and v[k].more->ends_by_time. flow_scale as in scale.h; rate_hz of the samples; z: of both channels; heart_l_s: amplitude of
 * the heart's flow; sign: of the breath to judge. */
void classify_breath(const struct classify_item *v, int n, int k, double flow_scale, double rate_hz,
                     const struct noise *z, double heart_l_s, enum effort_sign sign, struct breath_row *row);

/* Was gas moved by a machine in this breath? */
bool classify_is_machine(const struct breath_more *more);

#endif
