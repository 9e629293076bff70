/* Sustained inflation: pressure at least max(17, PEEP + 6) cmH2O, within 2 of its own running mean, for 8 s and
 * more (common practice, no source). Two breaths in it, out and in by 0.3 of the usual volume, are ventilation at
 * an upper level, unless it lasts as long as a manoeuvre: 13 to 60 s. From 90 % of the rise to the start of the fall.
 * A hold is shorter, or sags from a peak with the valves shut. */
#ifndef TIDEMARK_ANALYZE_SUSTAINED_INFLATION_H
#define TIDEMARK_ANALYZE_SUSTAINED_INFLATION_H

#include "analyze/manoeuvres/stretch.h"

struct sustained_inflation {
    int64_t start_ns; /* of the present stretch; -1: none */
    int64_t last_ns;  /* its last tick at level */
    double mean, sum, sum2;
    int n, off;       /* ticks in it; ticks off level in a row */
    bool active;      /* 8 s have passed */
    double peep_cmh2o;
    double moved_l;   /* gas that moved out (or, after an expiration, in) since the volume's last extreme */
    bool out;         /* the last breath of that size was out */
    int breaths;      /* out and in again, in this stretch */
};

void sustained_inflation_init(struct sustained_inflation *s);
bool sustained_inflation_tick(struct sustained_inflation *s, const struct tick *t, const struct ordinary *o,
                              struct event *out);
/* Pressure has stood high for 3 s: longer than an inspiration. Nothing is to be learnt of PEEP or leak now. */
bool sustained_inflation_suspected(const struct sustained_inflation *s);
bool sustained_inflation_cut(struct sustained_inflation *s, struct event *out);

#endif
