/* Gas that flows one way: in, and hardly out, for longer than the patient's breaths take. Two things do that. A
 * catheter that draws beside the sensor (closed suction) where the machine makes up for it, so that pressure falls
 * little; or a circuit open between sensor and patient: the machine blows into the room, and pressure reaches no
 * more than 0.4 of its usual peak. A new leak lets more come back and lasts; an upper level of pressure
 * fills the lung, which takes no more than a few breaths' gas. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_ONE_WAY_H
#define TIDEMARK_ANALYZE_ONE_WAY_H

#include "analyze/manoeuvres/stretch.h"

#define ONE_WAY_TICKS 240 /* 12 s */

struct one_way {
    double flow_scale; /* of the patient: 1 in adults */
    struct tick last[ONE_WAY_TICKS];
    uint64_t n;
    uint64_t out_at;   /* n at the last mean that flowed clearly out */
    bool active;
    int64_t start_ns, end_ns;
    bool breathing;    /* there were breaths before it: vt_l is theirs */
    int64_t drawn_ns;  /* end of the last mean of over half of the mean inflow */
    double p_first;    /* pressure at its start */
    uint64_t ticks, raised; /* means in it, and those clearly above that */
    double drawn_l, lowest_cmh2o, highest_cmh2o, pip_cmh2o, vt_l;
};

void one_way_init(struct one_way *w, double flow_scale);
bool one_way_tick(struct one_way *w, const struct tick *t, const struct ordinary *o, struct event *out);
bool one_way_cut(struct one_way *w, struct event *out);

#endif
