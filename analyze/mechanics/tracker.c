#include "analyze/mechanics/tracker.h"

#include "analyze/breath/extreme.h"

#include <math.h>

#define SD_FRESH     0.05
#define SD_A_BREATH  0.006
#define SD_R_FRESH   0.10
#define SD_R_BREATH  0.012
#define SD_MOST      0.30
#define SD_HOLD      0.12 /* static against dynamic, and one reading */
#define SD_ASSUMED   0.50
#define SD_STEPS     0.20
#define MISFIT       0.5  /* cmH2O: not known, taken for */
#define GATE         3.0
#define REOPEN       10
#define GAIN         0.2
#define OFF_SDS      2.0
#define OFF_MOST     0.7
#define GOOD_NS      (600 * NS_PER_S)
#define FAIR_NS      (3600 * NS_PER_S)

void tracker_init(struct tracker *t)
{
    const double none = (double)NAN;
    *t = (struct tracker){.fed_ns = -1, .fit_ns = -1, .hold_ns = -1, .reset_ns = -1, .step_r = none, .step_e = none,
                          .step_spread = none, .assumed_e = none, .assumed_r = none};
    t->x = (struct mechanics){.e_cmh2o_l = none, .ri_cmh2o_s_l = none, .re_cmh2o_s_l = none, .k2 = 0, .sd_ln_e = none,
                              .sd_ln_r = none, .age_s = none};
}

void tracker_breath(struct tracker *t)
{
    t->unfed++;
}

static double aged(double fresh, double a_breath, uint64_t breaths)
{
    return smaller(SD_MOST, hypot(fresh, a_breath * sqrt((double)breaths)));
}

static void set(struct tracker *t, enum mechanics_source from, int64_t now_ns)
{
    t->x.source = from;
    t->fed_ns = now_ns;
    t->unfed = 0;
    t->refused = 0;
}

void tracker_fit(struct tracker *t, const struct motion_fit *f, const struct pool_mean *m, int64_t now_ns)
{
    double e = m->value[POOL_E], ri = f->ri_cmh2o_s_l + m->value[POOL_RI] - f->r_chord;
    double re = f->re_cmh2o_s_l + m->value[POOL_RE] - f->re_chord;
    bool first = t->x.source != SOURCE_FIT || (t->reset_ns > t->fit_ns);
    t->off_e = t->x.source == SOURCE_FIT ? fabs(log(f->e_cmh2o_l / t->x.e_cmh2o_l)) : 0;
    t->off_r = t->x.source == SOURCE_FIT ? larger(fabs(log(f->ri_cmh2o_s_l / t->x.ri_cmh2o_s_l)), fabs(log(f->re_cmh2o_s_l / t->x.re_cmh2o_s_l))) : 0;
    if (!first) {
        double sd = hypot(aged(SD_FRESH, SD_A_BREATH, t->unfed), m->sd[POOL_E]);
        if (fabs(log(e / t->x.e_cmh2o_l)) > GATE * sd && ++t->refused < REOPEN)
            return;
        first = t->refused >= REOPEN;
    }
    double gain = first ? 1 : GAIN;
    t->x.e_cmh2o_l = first ? e : t->x.e_cmh2o_l * exp(gain * log(e / t->x.e_cmh2o_l));
    t->x.ri_cmh2o_s_l += first ? ri - t->x.ri_cmh2o_s_l : gain * (ri - t->x.ri_cmh2o_s_l);
    t->x.re_cmh2o_s_l += first ? re - t->x.re_cmh2o_s_l : gain * (re - t->x.re_cmh2o_s_l);
    t->x.k2 += first ? f->k2 - t->x.k2 : gain * (f->k2 - t->x.k2);
    t->x.misfit_cmh2o += (first ? 1 : GAIN) * (f->smooth - t->x.misfit_cmh2o);
    if (first) {
        t->x.ri_cmh2o_s_l = ri;
        t->x.re_cmh2o_s_l = re;
    }
    set(t, SOURCE_FIT, now_ns);
    t->fit_ns = now_ns;
}

void tracker_hold(struct tracker *t, double e_static_cmh2o_l, double r_cmh2o_s_l, int64_t now_ns)
{
    t->hold_ns = now_ns;
    bool fit_leads = t->x.source == SOURCE_FIT && now_ns - t->fit_ns < FAIR_NS && t->reset_ns <= t->fit_ns;
    if (fit_leads || !(e_static_cmh2o_l > 0))
        return;
    double r = r_cmh2o_s_l > 0 ? r_cmh2o_s_l : t->step_r;
    if (!(r > 0) && t->x.source == SOURCE_NONE)
        return; /* an elastance alone is no mechanics */
    t->x.e_cmh2o_l = e_static_cmh2o_l;
    if (r > 0) {
        t->x.ri_cmh2o_s_l = t->x.re_cmh2o_s_l = r;
        t->x.k2 = 0;
    }
    set(t, SOURCE_HOLD, now_ns);
}

void tracker_steps(struct tracker *t, double e_cmh2o_l, double r_cmh2o_s_l, double spread, bool agree)
{
    t->step_e = e_cmh2o_l;
    t->step_r = r_cmh2o_s_l;
    t->step_spread = spread;
    t->steps_agree = agree;
}

void tracker_assume(struct tracker *t, double e_cmh2o_l, double tau_s)
{
    t->assumed_e = e_cmh2o_l;
    t->assumed_r = e_cmh2o_l * tau_s;
}

void tracker_reset(struct tracker *t, int64_t now_ns)
{
    t->reset_ns = now_ns;
}

void tracker_doubt(struct tracker *t, bool doubted)
{
    t->doubted = doubted;
}

bool tracker_fed(const struct tracker *t, int64_t now_ns)
{
    return t->reset_ns <= t->fed_ns && t->x.source != SOURCE_NONE && now_ns - t->fed_ns < FAIR_NS;
}

void tracker_now(const struct tracker *t, int64_t now_ns, double leak_pct, struct mechanics *out)
{
    *out = t->x;
    out->age_s = t->fed_ns >= 0 ? (double)(now_ns - t->fed_ns) * 1e-9 : (double)NAN;
    bool reset = t->reset_ns > t->fed_ns, fed = tracker_fed(t, now_ns) && !(t->doubted && t->x.source == SOURCE_FIT);
    out->sd_ln_e = reset ? SD_MOST : aged(t->x.source == SOURCE_HOLD ? SD_HOLD : SD_FRESH, SD_A_BREATH, t->unfed);
    out->sd_ln_r = reset ? SD_MOST : aged(t->x.source == SOURCE_HOLD ? SD_STEPS : SD_R_FRESH, SD_R_BREATH, t->unfed);
    if (t->x.source == SOURCE_FIT) {
        out->sd_ln_e = t->off_e > OFF_SDS * out->sd_ln_e ? smaller(t->off_e, OFF_MOST) : out->sd_ln_e;
        out->sd_ln_r = t->off_r > OFF_SDS * out->sd_ln_r ? smaller(t->off_r, OFF_MOST) : out->sd_ln_r;
    }
    bool high = leak_pct > 20;
    if (fed && out->sd_ln_e < 0.1 && now_ns - t->fed_ns < GOOD_NS && !(leak_pct > 10)) {
        out->quality = MECHANICS_GOOD;
    } else if (fed && out->sd_ln_e < 0.2 && !high) {
        out->quality = MECHANICS_FAIR;
    } else if (t->step_e > 0 && !fed) {
        *out = (struct mechanics){.quality = t->steps_agree && !high ? MECHANICS_FAIR : MECHANICS_POOR, .source = SOURCE_STEPS,
                                  .e_cmh2o_l = t->step_e, .ri_cmh2o_s_l = t->step_r, .re_cmh2o_s_l = t->step_r,
                                  .sd_ln_e = larger(SD_STEPS, t->step_spread), .sd_ln_r = SD_STEPS, .misfit_cmh2o = MISFIT, .age_s = 0};
    } else if (t->x.source == SOURCE_NONE && t->assumed_e > 0 && t->assumed_r > 0) {
        *out = (struct mechanics){.quality = MECHANICS_POOR, .source = SOURCE_ASSUMED, .e_cmh2o_l = t->assumed_e,
                                  .ri_cmh2o_s_l = t->assumed_r, .re_cmh2o_s_l = t->assumed_r, .sd_ln_e = SD_ASSUMED,
                                  .sd_ln_r = SD_ASSUMED, .misfit_cmh2o = MISFIT, .age_s = (double)NAN};
    } else {
        out->quality = t->x.source != SOURCE_NONE ? MECHANICS_POOR : MECHANICS_NONE;
    }
}
