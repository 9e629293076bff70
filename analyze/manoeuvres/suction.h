/* Closed suction: a catheter on the patient's side of the sensor draws gas through it. Gas flows in and hardly
 * comes out, and pressure stands under PEEP by 2 cmH2O for much of the time, for 3 to 30 s, in a ventilated
 * patient. Open suction looks like a disconnection and is called suction only where a mark says so. Common
 * practice, no source. */
#ifndef TIDEMARK_ANALYZE_SUCTION_H
#define TIDEMARK_ANALYZE_SUCTION_H

#include "analyze/manoeuvres/stretch.h"

#define SUCTION_TICKS 60 /* 3 s */

struct suction {
    double flow_scale;               /* of the patient: 1 in adults */
    struct tick last[SUCTION_TICKS]; /* the last 3 s */
    uint64_t n;                      /* ticks seen since the last cut */
    double low_bar;                  /* PEEP less 2, as of the count */
    int low;                         /* means at or under it among the kept */
    bool active;
    bool filling;                    /* one has ended and pressure is not back yet: none begins */
    int64_t low_ns;                  /* last mean under PEEP - 2 */
    int64_t start_ns, end_ns;        /* of the active one; end: last mean near the lowest */
    double peep_cmh2o, lowest_cmh2o, drawn_l, under_s;
};

void suction_init(struct suction *s, double flow_scale);
bool suction_tick(struct suction *s, const struct tick *t, const struct ordinary *o, struct event *out);
/* It may have begun: nothing is to be learnt of PEEP or leak now. */
bool suction_suspected(const struct suction *s, const struct ordinary *o);
bool suction_cut(struct suction *s, struct event *out);

#endif
