/* Scale without any passive breath. Where the valves switch, pressure and flow step within 0.1 s while volume hardly changes and
 * muscles move nearly straight: the slope of p on q + v/tau beside a straight line in time is the resistance. With the time
 * constant of the straightest piece of expiration, E = (R + Rv) / tau, Rv the slope of pressure on outward flow there (valve and
 * limb). Relaxation at the end of inspiration makes that step small: then the first counts alone. Medians over 60 breaths. In 150
 * random supported lungs E was within -13 to +44 % (5th to 95th percentile): good for times, not for sizes. Common practice, no
 * source. */
#ifndef TIDEMARK_ANALYZE_STEPS_H
#define TIDEMARK_ANALYZE_STEPS_H

#include "analyze/breath/seg.h"
#include "analyze/mechanics/leak_model.h"

#define STEPS_KEPT 60

struct steps {
    float r_on[STEPS_KEPT], r_off[STEPS_KEPT], tau[STEPS_KEPT], rv[STEPS_KEPT]; /* cmH2O s/L, s; NAN: not had */
    uint64_t n, seen;
};

struct steps_now {
    double e_cmh2o_l, r_cmh2o_s_l; /* NAN: not known */
    double tau_s, spread;          /* spread: of tau, relative */
    bool agree;                    /* both steps within 25 %, tau within 20 %, 20 breaths */
};

/* A complete breath; one that no machine makes gives its time constant alone. */
void steps_breath(struct steps *s, const struct ring *r, const struct seg_breath *b, double lag_s, double q_sd_l_s);
void steps_now(const struct steps *s, struct steps_now *out);
/* Resistance at the start of inspiration alone, cmH2O s/L; NAN: not known, or the breaths do not agree (by a third, one
 * standard deviation). */
double steps_on(const struct steps *s);

#endif
