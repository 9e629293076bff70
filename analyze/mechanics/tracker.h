/* The patient's passive mechanics now: constants, how sure, how old, how good. Food: believable fits of passive breaths and
 * valid holds, nothing else; where there was never either, the steps of pressure and flow at the valves with the expiratory
 * time constant. A hold's elastance is static, up to a fifth under the fitted one: where both are, the fit leads.
 * Random walk of ln E by 0.6 % a breath on top of 5 %; a value further away than 3 standard deviations is refused, ten in a row
 * are a change. Where the last passive breath lay far off, what is tracked is no surer than that: after a change nothing may be taken
 * for an effort that is the lung's. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_TRACKER_H
#define TIDEMARK_ANALYZE_TRACKER_H

#include "analyze/mechanics/pool.h"

enum mechanics_quality { MECHANICS_NONE, MECHANICS_POOR, MECHANICS_FAIR, MECHANICS_GOOD };
enum mechanics_source { SOURCE_NONE, SOURCE_ASSUMED, SOURCE_STEPS, SOURCE_HOLD, SOURCE_FIT };

struct mechanics {
    enum mechanics_quality quality;
    enum mechanics_source source;
    double e_cmh2o_l, ri_cmh2o_s_l, re_cmh2o_s_l, k2; /* NAN where quality is none */
    double sd_ln_e, sd_ln_r;
    double misfit_cmh2o; /* what the model leaves of a passive breath: largest mean of 0.1 s */
    double age_s; /* since the last food; NAN */
};

struct tracker {
    struct mechanics x;
    int64_t fed_ns, fit_ns, hold_ns, reset_ns; /* -1: never */
    uint64_t unfed; /* breaths since */
    int refused;    /* in a row */
    double step_r, step_e, step_spread; /* of the valve steps; NAN: not known */
    bool steps_agree, doubted;
    double off_e, off_r; /* logarithms: how far the last passive breath's own fit lay from what was tracked */
    double assumed_e, assumed_r; /* NAN: nothing to assume from */
};

void tracker_init(struct tracker *t);
/* A breath has passed, believable or not. */
void tracker_breath(struct tracker *t);
/* A believable fit of a passive breath that ended at now_ns; m: what alike breaths share. */
void tracker_fit(struct tracker *t, const struct motion_fit *f, const struct pool_mean *m, int64_t now_ns);
/* A valid hold: static elastance, cmH2O/L, and resistance (NAN: unknown), cmH2O s/L. */
void tracker_hold(struct tracker *t, double e_static_cmh2o_l, double r_cmh2o_s_l, int64_t now_ns);
/* Scale from the valve steps (steps.h): E, R, relative spread of E, whether both steps agree. Used where nothing else is. */
void tracker_steps(struct tracker *t, double e_cmh2o_l, double r_cmh2o_s_l, double spread, bool agree);
/* All that is known is a time constant: an elastance is assumed, quality poor. Times of efforts are good all the same. */
void tracker_assume(struct tracker *t, double e_cmh2o_l, double tau_s);
/* PEEP moved, suction, disconnection, recruitment, a hole over 60 s: the values stay, their standard deviation goes to 0.3. */
void tracker_reset(struct tracker *t, int64_t now_ns);
/* The fits of a patient who pulls may hold an effort that grew like the flow: both valve steps show another resistance. While it
 * is doubted, the steps are taken. */
void tracker_doubt(struct tracker *t, bool doubted);
/* Is there food recent enough that steps and assumptions are not asked for? */
bool tracker_fed(const struct tracker *t, int64_t now_ns);
void tracker_now(const struct tracker *t, int64_t now_ns, double leak_pct, struct mechanics *out);

#endif
