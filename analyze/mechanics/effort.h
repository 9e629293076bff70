/* Inspiratory efforts from the muscle pressure that tracked mechanics imply:
 *
 *     P(t) = E V + R q + K2 q|q| - Paw     (up to a constant; R: Ri or Re by flow's direction; leak taken out)
 *
 * on a grid of 20 ms, means of 0.08 s (infant 0.04 s). An effort is a maximum that stands out: its prominence is over the line that joins the
 * lowest points before and after it, so that slow errors of E, R and drift, and the constant, don't count. The least that
 * counts is 1.5 cmH2O, 1.5 bumps of this patient's heart, and 2 standard deviations of the estimate. Constants are those known
 * before the breath, never its own. With a channel of oesophageal pressure the same finder is run on that (effort_find).
 * Thresholds: common practice, no source. */
#ifndef TIDEMARK_ANALYZE_EFFORT_H
#define TIDEMARK_ANALYZE_EFFORT_H

#include "analyze/breath/row.h"
#include "analyze/breath/seg.h"
#include "analyze/mechanics/leak_model.h"
#include "analyze/mechanics/tracker.h"

#define EFFORT_POINTS 1024
#define EFFORTS_MOST  16

struct effort {
    int64_t start_ns, neural_end_ns, end_ns; /* neural end: half of the peak is left */
    int64_t peak_ns, breath_t0_ns;           /* of the breath that the peak lies in */
    double peak_cmh2o, sd_cmh2o;             /* prominence; sd as an estimate of the peak, with
                                              * 20 % for what a base line and the model leave out */
    double rise_cmh2o; /* over where it rose from: less than the peak where the curve falls deeper after it, into a push */
    enum confidence confidence;              /* definite: "present" of the column; else possible */
    enum mechanics_quality quality;
    enum mechanics_source source;
    bool hiccup;                             /* one of a run of jerks: manoeuvres/hiccup.h */
};

/* Was it under way at at_ns: begun up to late_ns after it (a start is found late), and with more than half of its peak left until
 * after still_ns from there on? Either may be negative. */
static inline bool effort_under_way(const struct effort *e, int64_t at_ns, int64_t late_ns, int64_t still_ns)
{
    return e->start_ns <= at_ns + late_ns && e->neural_end_ns > at_ns + still_ns;
}

/* Muscle pressure on its grid; at_ns[k] = from_ns + k * step. */
struct effort_curve {
    int n;
    int64_t from_ns;
    double step_s;
    double pace;                          /* of all durations: 1, infant 0.5 */
    double p[EFFORT_POINTS];              /* cmH2O, up to a constant */
    double v[EFFORT_POINTS], q[EFFORT_POINTS]; /* L, L/s: for the uncertainty */
};

/* P between two samples of the ring; the number of points is what fits. */
void effort_curve(const struct ring *r, uint64_t from, uint64_t to, const struct mechanics *m, double lag_s,
                  const struct leak_law_now *leak, double pace, struct effort_curve *out);

/* Takes a straight line across the transients of the valves at_ns. */
void effort_bridge(struct effort_curve *c, const int64_t *at_ns, int n);

/* How much the curve moves where it moves least: of all stretches of about a heartbeat between two times the smallest range, from
 * peak to peak over a straight line, cmH2O. A heart is in every such stretch, an effort is not. NAN: no stretch fits. */
double effort_quiet(const struct effort_curve *c, int64_t from_ns, int64_t to_ns);

struct effort_limits {
    const struct mechanics *m;
    double least_cmh2o;  /* whatever else is asked for; 0: nothing */
    double heart_cmh2o;  /* the heart's bump in P, from peak to peak */
    double noise_cmh2o;  /* sd of a point */
    int64_t from_ns, to_ns; /* only peaks in [from, to) */
    int64_t opens_ns[2];    /* when the machine began to deliver, about there; starts just before are sought as a knee. -1: none */
    int64_t owed_from_ns[2], owed_to_ns[2]; /* an effort drew or began these breaths, as other signs show: one found there may be smaller and as
                                             * large as its uncertainty; from > to: none */
    int64_t turn_ns;        /* the last start of expiration before opens_ns[0] is no part of a knee's window; -1: none */
};

/* In order of their peaks. Returns how many. */
int effort_find(const struct effort_curve *c, const struct effort_limits *lim, struct effort out[EFFORTS_MOST]);

#endif
