#include "analyze/manoeuvres/disconnection.h"

#include <math.h>

#define NEAR_ZERO_CMH2O 1.0
#define LEFT_CMH2O      2.0
#define SMOOTH_S        0.3
#define PULSE_CMH2O     3.0
#define PULSE_LEAST_L   0.004
#define RETURN_SHARE    0.5
#define RETURNS         2
#define BREATH_SHARE    0.3 /* of the usual volume: the heart moves less */
#define LIMB_CMH2O_S_L  0.7 /* common practice, no source: an open end has none, circuits 1.5 and more */
#define LIMB_CMH2O      0.3 /* root mean square of pressure that follows flow: less is noise */
#define AGAIN_NS        (8 * NS_PER_S)
#define REFUTED_NS      (60 * NS_PER_S)
#define LOW_NS          (2 * NS_PER_S)
#define UP_NS           (1 * NS_PER_S)
#define PULSE_NS        (NS_PER_S * 6 / 5)
#define PEEP_LEAST      3.0
#define UP_SHARE        0.6
#define FIRST_NS        (3 * NS_PER_S)

void disconnection_init(struct disconnection *d)
{
    *d = (struct disconnection){.low_ns = -1, .pulse_ns = -1, .up_ns = -1, .near_ns = -1, .reported_ns = -1, .smooth_cmh2o = (double)NAN};
}

static void report(struct disconnection *d, int64_t end_ns, struct event *out)
{
    *out = (struct event){.start_ns = d->start_ns, .end_ns = end_ns, .id = EVENT_disconnection,
                          .confidence = CONF_DEFINITE, .n_values = 1};
    out->values[0] = (struct event_value){.key = "expired_ml", .number = 1000 * d->expired_l, .decimals = 0};
    double peep = d->peep_cmh2o, smooth = d->smooth_cmh2o;
    disconnection_init(d);
    d->peep_cmh2o = peep;
    d->smooth_cmh2o = smooth;
    d->reported_ns = end_ns;
}

/* Gas that goes in and comes back is ventilation, at a PEEP that was set lower, where a push of pressure brought it: an
 * open circuit gives nothing back. Or where pressure fell as it went in and rose as it came back: a patient who breathes
 * through a limb, not through an open end. */
static bool ventilated(struct disconnection *d, const struct tick *t, const struct ordinary *o)
{
    d->pq -= t->p * t->q_net;
    d->qq += t->q_net * t->q_net;
    if (t->q_net > 0) {
        if (d->back_l > 0) { /* the last one is over */
            d->in_l = d->back_l = 0;
            d->pushed_l = 0;
        }
        d->in_l += t->q_net * TICK_S;
        d->pushed_l += t->p > PULSE_CMH2O ? t->q_net * TICK_S : 0;
    } else if (t->q_net < 0 && d->in_l >= PULSE_LEAST_L) {
        double before = d->back_l;
        d->back_l -= t->q_net * TICK_S;
        bool returned = before < RETURN_SHARE * d->in_l && d->back_l >= RETURN_SHARE * d->in_l;
        double ticks = (double)(t->t_ns - d->start_ns) * 1e-9 / TICK_S, swing = d->pq / sqrt(d->qq * ticks);
        bool limb = d->pq > LIMB_CMH2O_S_L * d->qq && swing > LIMB_CMH2O;
        bool breath = limb && d->in_l >= BREATH_SHARE * o->vt_l;
        d->returns += returned && (d->pushed_l > 0.5 * d->in_l || breath);
    }
    return d->returns >= RETURNS;
}

static bool tick_active(struct disconnection *d, const struct tick *t, const struct ordinary *o, struct event *out)
{
    if (t->t_ns - d->start_ns < FIRST_NS && t->q_net < 0)
        d->expired_l -= t->q_net * TICK_S;
    if (ventilated(d, t, o)) {
        int64_t until = t->t_ns + REFUTED_NS;
        disconnection_init(d);
        d->refuted_until_ns = until;
        return false;
    }
    if (t->p <= NEAR_ZERO_CMH2O)
        d->last_low_ns = t->t_ns + (int64_t)(TICK_S * 1e9);
    if (t->p < UP_SHARE * d->peep_cmh2o) {
        d->up_ns = -1;
        return false;
    }
    if (d->up_ns < 0)
        d->up_ns = t->t_ns;
    if (t->t_ns - d->up_ns < UP_NS)
        return false;
    report(d, d->last_low_ns, out);
    return true;
}

bool disconnection_tick(struct disconnection *d, const struct tick *t, const struct ordinary *o, struct event *out)
{
    double keep = exp(-TICK_S / SMOOTH_S);
    d->smooth_cmh2o = isnan(d->smooth_cmh2o) ? t->p : keep * d->smooth_cmh2o + (1 - keep) * t->p;
    if (fabs(t->p) > LEFT_CMH2O)
        d->near_ns = -1;
    else if (d->near_ns < 0 && fabs(t->p) <= NEAR_ZERO_CMH2O)
        d->near_ns = t->t_ns;
    if (d->active)
        return tick_active(d, t, o, out);
    if (t->t_ns < d->refuted_until_ns)
        return false;
    if (isnan(o->peep_cmh2o) || o->peep_cmh2o < PEEP_LEAST)
        return false;
    double p = d->smooth_cmh2o;
    d->drawn = p < -NEAR_ZERO_CMH2O || (d->drawn && p <= LEFT_CMH2O);
    if (fabs(p) <= NEAR_ZERO_CMH2O && !d->drawn) {
        if (d->low_ns < 0) {
            d->low_ns = d->near_ns >= 0 ? d->near_ns : t->t_ns;
            d->returns = 0;
            d->in_l = d->back_l = d->pq = d->qq = d->pushed_l = 0;
            d->peep_cmh2o = o->peep_cmh2o;
            d->expired_l = 0;
        }
        if (t->t_ns - d->low_ns < FIRST_NS && t->q_net < 0)
            d->expired_l -= t->q_net * TICK_S;
        d->pulse_ns = -1;
    } else if (d->low_ns >= 0) {
        /* The machine blowing into the room lifts pressure a little, and not for long. */
        if (d->pulse_ns < 0)
            d->pulse_ns = t->t_ns;
        if (p > UP_SHARE * o->peep_cmh2o || p < -NEAR_ZERO_CMH2O || t->t_ns - d->pulse_ns > PULSE_NS)
            d->low_ns = d->pulse_ns = -1;
    }
    if (d->low_ns >= 0 && t->t_ns - d->low_ns >= LOW_NS) {
        /* Again so soon, as every expiration would: PEEP is low, the circuit is whole. */
        if (d->reported_ns >= 0 && d->low_ns - d->reported_ns < AGAIN_NS) {
            d->reported_ns = d->low_ns;
            d->low_ns = d->pulse_ns = -1;
            return false;
        }
        d->active = true;
        d->start_ns = d->low_ns;
        d->last_low_ns = t->t_ns;
        d->up_ns = -1;
    }
    return false;
}

bool disconnection_cut(struct disconnection *d, int64_t t_ns, struct event *out)
{
    if (d->active) {
        report(d, t_ns, out);
        return true;
    }
    d->low_ns = d->pulse_ns = d->up_ns = -1;
    return false;
}
