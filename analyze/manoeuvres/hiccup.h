/* Hiccups: jerks of the inspiratory muscles, without regard to breathing: 5 cmH2O and more within 0.22 s, over within 0.6 s (means of
 * 0.08 s lengthen both; infants: half). Three in 60 s make an episode, where the patient's other efforts are no such
 * jerks themselves: half again as slow. It ends after 45 s without one. A hiccup is an effort and stays one; flags that rest on it
 * are possible at most. Rates of 4 to 60 a minute and times: from memory. */
#ifndef TIDEMARK_ANALYZE_HICCUP_H
#define TIDEMARK_ANALYZE_HICCUP_H

#include "analyze/mechanics/effort.h"

#define HICCUP_OTHERS 15

struct hiccup {
    int64_t last_ns[3]; /* peaks of the last three jerks, newest first; -1 */
    int64_t first_start_ns[3]; /* and their starts */
    double last_cmh2o[3];
    bool open;
    int64_t start_ns, end_ns;
    int count;
    double sum_cmh2o;
    double rise_s[HICCUP_OTHERS]; /* of the last efforts that are none */
    int n_rise;
};

void hiccup_init(struct hiccup *h);
/* Is its shape that of a jerk? pace: 1, infant 0.5. */
bool hiccup_jerk(const struct effort *e, double pace);
/* An effort; marks it (e->hiccup) in an episode. True: *out tells of one that has ended, or of ten minutes of one. `opened`: with this
 * effort an episode has begun, at start_ns: the jerks since then are its. */
bool hiccup_effort(struct hiccup *h, struct effort *e, double pace, bool *opened, struct event *out);
/* Nothing more until now_ns (INT64_MAX: the samples break off). */
bool hiccup_until(struct hiccup *h, int64_t now_ns, struct event *out);

#endif
