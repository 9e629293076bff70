/* What leaks, and when: the difference of inspired and expired volume over the last breaths, spread over each by a law.
 * Evenly: the sensor's zero is off. With the root of pressure: an orifice at the airway (Bernoulli). With the pressure above the
 * expiratory level: a cuff that gives way in inspiration. A wrong law moves the fitted compliance by as much as the leak is
 * large. One breath can't tell which it is under noise: the fits' residuals of many passive breaths are weighed together.
 * Nor is a breath's own difference its leak: gas trapped before comes out, the heart moves some. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_LEAK_MODEL_H
#define TIDEMARK_ANALYZE_LEAK_MODEL_H

#include "analyze/breath/seg.h"
#include "analyze/mechanics/motion.h"

#define LEAK_KEPT 24

enum leak_law { LEAK_EVEN, LEAK_ROOT, LEAK_ABOVE, LEAK_LAWS };

struct leak_model {
    struct {
        double net_l, vti_l, part[LEAK_LAWS]; /* part: integral of the law's weight over the breath */
    } kept[LEAK_KEPT];
    uint64_t n;
    double against[LEAK_LAWS]; /* summed log misfit: the least is believed */
    uint64_t weighed, seen;
    double low_cmh2o;          /* the expiratory level that LEAK_ABOVE counts from */
};

/* A complete breath whose volumes are known, passive or not. peep: at its start, cmH2O. */
void leak_enter(struct leak_model *m, const struct ring *r, const struct seg_breath *b, double peep_cmh2o, double pip_cmh2o,
                double net_l, double vti_l);
/* What was known no longer holds (circuit open, suction). The law stays. */
void leak_forget(struct leak_model *m);
/* Even drift of the breaths kept, L/s; 0 until three are. */
double leak_drift_l_s(const struct leak_model *m);
/* Mean inspired volume of the breaths kept, L; NAN: none. */
double leak_volume_l(const struct leak_model *m);
/* The law in force and its factor: once for many samples. */
struct leak_law_now {
    enum leak_law law;
    double factor, low_cmh2o;
};
void leak_now(const struct leak_model *m, struct leak_law_now *out);
double leak_flow_l_s(const struct leak_law_now *l, double p_cmh2o);
/* s: gathered without a drift taken out; passive: it may be weighed. Takes the leak out of v (an even one) or of v and q. */
void leak_take_out(struct leak_model *m, struct motion_samples *s, bool passive, double *work);

#endif
