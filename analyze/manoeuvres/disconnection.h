/* Disconnection: pressure, smoothed over 0.3 s, within 1 cmH2O of zero for 2 s and more, in a patient whose PEEP was 3
 * or more.
 * Where the circuit opened decides what flow does (none; the patient's own; the machine's into the room), so
 * only pressure is asked. It ends where pressure stands above 0.6 of PEEP for a second. Common practice, no
 * source. Look-alikes: a PEEP set to 0 (two breaths whose gas comes back refute it, pushed
 * in by pressure or drawn through a limb that resists), apnoea (pressure stays at
 * PEEP). */
#ifndef TIDEMARK_ANALYZE_DISCONNECTION_H
#define TIDEMARK_ANALYZE_DISCONNECTION_H

#include "analyze/manoeuvres/stretch.h"

struct disconnection {
    bool active;
    int64_t start_ns;   /* of the active one */
    int64_t low_ns;     /* since when pressure is low; -1: it is not */
    int64_t pulse_ns;   /* a short rise within the low stretch began here; -1: none */
    int64_t up_ns;      /* since when pressure is up again; -1 */
    int64_t last_low_ns; /* end of the last mean near zero: the end, once pressure stays up */
    double peep_cmh2o;  /* before it */
    double expired_l;   /* in its first 3 s */
    double smooth_cmh2o;
    bool drawn;          /* pressure was below the room, and comes back: no opening does that */
    int64_t near_ns;     /* since when single means lie near zero; -1 */
    double in_l, back_l; /* of the last breath */
    double pushed_l;     /* of in_l: against pressure */
    double pq, qq;       /* sums since it is low, of - pressure times flow and of flow squared: quotient, the limb */
    int returns;         /* breaths whose gas came back */
    int64_t refuted_until_ns;
    int64_t reported_ns; /* when the last one ended, or what looked like another right after it; -1 */
};

void disconnection_init(struct disconnection *d);
/* True when one has ended: *out is filled. */
bool disconnection_tick(struct disconnection *d, const struct tick *t, const struct ordinary *o, struct event *out);
/* A hole or the end: an active one ends there. */
bool disconnection_cut(struct disconnection *d, int64_t t_ns, struct event *out);

#endif
