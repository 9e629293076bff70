/* Cough: outward spikes, one to some in a row. A spike is a fall of muscle pressure by 10 cmH2O and more that comes within 0.2 s and
 * is gone within 0.25 s more (effort.h has the curve; in it the lung's own recoil, by which expiration begins just as fast, is
 * taken out), while flow goes outwards by at least 0.15 L/s, by the patient's size, or the machine still
 * delivers, so that airway pressure rises by as much. Expiratory muscles that
 * work with each breath push longer. Spikes within 1.5 s of each other are one cough: two or more are definite, a single one has to be a gust of 30 L/min or
 * 15 cmH2O against an inflation. A fall of
 * which a resistance of 60 cmH2O s/L would make less than that is the model's (limited flow); so is one where expiration begins and flow is no larger than is usual there. Common practice, no
 * source. */
#ifndef TIDEMARK_ANALYZE_COUGH_H
#define TIDEMARK_ANALYZE_COUGH_H

#include "analyze/mechanics/effort.h"

#define COUGH_SPIKES 16

struct cough_spike {
    int64_t from_ns, to_ns;
    double depth_cmh2o, flow_l_s; /* flow: how much further outwards than before */
    bool strong;                  /* enough for a cough by itself */
};

struct cough_in {
    int64_t from_ns, turn_ns, to_ns; /* the breath: start, start of expiration, end */
    double usual_out_l_s;            /* peak of expired flow of the breaths before; NAN: not known */
    double flow_scale;
};

/* Spikes of the curve (before the valves are bridged: one may lie there) whose deepest point lies in the breath. Returns how many. */
int cough_spikes(const struct effort_curve *c, const struct cough_in *in, struct cough_spike out[COUGH_SPIKES]);
/* Peak of expired flow after the turn. */
double cough_peak_out(const struct effort_curve *c, int64_t turn_ns);

struct cough {
    bool open;
    int64_t start_ns, end_ns;
    int peaks;
    unsigned breaths;     /* bits, the newest lowest: breaths with a spike */
    double usual_out_l_s; /* a slow mean; 0: none yet */
    double depth_cmh2o, flow_l_s;
    bool strong;
};

/* The next breath, with a spike or without. True: four of the twelve before it have some, which is the model's doing, not a cough. */
bool cough_is_habit(struct cough *s, bool spike);
/* Is the open one a cough so far? */
bool cough_is(const struct cough *s);
/* A spike. True: it belongs to no earlier one, and *out tells of that. */
bool cough_spike(struct cough *s, const struct cough_spike *x, struct event *out);
/* Nothing more until now_ns (INT64_MAX: the samples break off). */
bool cough_until(struct cough *s, int64_t now_ns, struct event *out);

#endif
