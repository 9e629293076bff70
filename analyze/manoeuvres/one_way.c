#include "analyze/manoeuvres/one_way.h"

#include <math.h>

#define LEAST_TICKS   60   /* 3 s */
#define PERIODS       1.2  /* and longer than a breath */
#define DRAWN_L_S     0.08
#define OUT_SHARE     0.08 /* of what flows in, at most, comes back */
#define OUT_L_S       0.05
#define IN_L_S        0.03
#define IN_SHARE      0.85 /* of the time: a hold stands still, then breathes in once */
#define MOST_NS       (45 * NS_PER_S)
#define OPEN_SHARE    0.4
#define RAISED_CMH2O  2.0
#define RAISED_SHARE  0.6
#define FULL_BREATHS  4
#define DEEP_BREATH   1.5 /* usual volumes: one that is drawn slowly */
#define STOPPED_NS    (NS_PER_S * 3 / 2)

void one_way_init(struct one_way *w, double flow_scale)
{
    *w = (struct one_way){.flow_scale = flow_scale};
}

static const struct tick *at(const struct one_way *w, uint64_t k)
{
    return &w->last[k % ONE_WAY_TICKS];
}

/* Does the last stretch of this many ticks flow one way? */
static bool looks(const struct one_way *w, uint64_t ticks)
{
    double in = 0, out = 0;
    uint64_t inward = 0;
    for (uint64_t k = w->n - ticks; k < w->n; k++) {
        double q = at(w, k)->q_net;
        inward += q > IN_L_S * w->flow_scale;
        if (q > 0)
            in += q * TICK_S;
        else
            out -= q * TICK_S;
    }
    return in - out > DRAWN_L_S * w->flow_scale * (double)ticks * TICK_S && out <= OUT_SHARE * in &&
           (double)inward >= IN_SHARE * (double)ticks;
}

/* The stretch begins behind the last mean that flowed out; among beats alone, of less than half of what is drawn. */
static void begin(struct one_way *w, uint64_t ticks, const struct ordinary *o)
{
    uint64_t from = w->n - ticks, oldest = w->n > ONE_WAY_TICKS ? w->n - ONE_WAY_TICKS : 0;
    double edge = 0;
    for (uint64_t k = from; k < w->n && o->n == 0; k++)
        edge += 0.5 * at(w, k)->q_net / (double)ticks;
    while (from > oldest && at(w, from - 1)->q_net > edge)
        from--;
    while (from < w->n - 1 && at(w, from)->q_net <= edge)
        from++;
    w->active = true;
    w->pip_cmh2o = o->pip_cmh2o;
    w->vt_l = o->vt_l;
    w->breathing = o->n > 0;
    w->start_ns = at(w, from)->t_ns;
    w->drawn_l = 0;
    w->p_first = at(w, from)->p;
    w->ticks = w->n - from;
    w->raised = 0;
    w->lowest_cmh2o = INFINITY;
    w->highest_cmh2o = -INFINITY;
    for (uint64_t k = from; k < w->n; k++) {
        w->drawn_l += at(w, k)->q_net * TICK_S;
        w->raised += at(w, k)->p > w->p_first + RAISED_CMH2O;
        w->lowest_cmh2o = fmin(w->lowest_cmh2o, at(w, k)->p);
        w->highest_cmh2o = fmax(w->highest_cmh2o, at(w, k)->p);
    }
}

/* The drawing stops at once, and the next breath in and out shows that it did: back from the outward flow over that
 * breath to the last sudden fall, from over half of the mean inflow to under a quarter. Without one the end stays. */
static void find_end(struct one_way *w)
{
    double mean = w->drawn_l / ((double)(w->end_ns - w->start_ns) * 1e-9);
    uint64_t oldest = w->n > ONE_WAY_TICKS ? w->n - ONE_WAY_TICKS : 0, k = w->n;
    while (k > oldest + 3 && at(w, k - 1)->q_net <= 0.25 * mean)
        k--; /* the outward flow */
    while (k > oldest + 3 && at(w, k - 1)->q_net > 0.25 * mean)
        k--; /* the breath in */
    while (k > oldest + 3 && at(w, k - 1)->q_net <= 0.25 * mean)
        k--; /* the pause before it, if there is one: k - 1 is the last mean that was drawn */
    /* The mean in which it stopped may be half and half: the one before counts as well. */
    bool sudden = k > oldest + 3 && fmax(at(w, k - 1)->q_net, at(w, k - 2)->q_net) > 0.5 * mean;
    if (sudden && at(w, k - 1)->t_ns > w->start_ns)
        w->end_ns = at(w, k - 1)->t_ns + (int64_t)(TICK_S * 1e9);
}

static bool report(struct one_way *w, bool stopped, struct event *out)
{
    if (w->active && stopped)
        w->end_ns = w->drawn_ns;
    else if (w->active)
        find_end(w);
    int64_t length = w->end_ns - w->start_ns;
    /* A pressure that stays up fills the lung, which takes a few breaths' gas; a catheter or the room takes more. */
    bool fills = (double)w->raised > RAISED_SHARE * (double)w->ticks && w->drawn_l < FULL_BREATHS * w->vt_l;
    fills = fills || (w->breathing && w->drawn_l < DEEP_BREATH * w->vt_l);
    bool is = w->active && !fills && length >= LEAST_TICKS * (int64_t)(TICK_S * 1e9) && length <= MOST_NS;
    bool open = w->highest_cmh2o < OPEN_SHARE * w->pip_cmh2o || w->drawn_l > CATHETER_L_S * (double)length * 1e-9;
    w->active = false;
    w->n = w->out_at = 0;
    if (!is)
        return false;
    *out = (struct event){.start_ns = w->start_ns, .end_ns = w->end_ns,
                          .id = open ? EVENT_disconnection : EVENT_suction, .confidence = CONF_POSSIBLE};
    if (open) {
        out->values[out->n_values++] = (struct event_value){.key = "form", .number = (double)NAN, .text = "b"};
        return true;
    }
    out->values[out->n_values++] = (struct event_value){.key = "kind", .number = (double)NAN, .text = "closed"};
    out->values[out->n_values++] = (struct event_value){.key = "lowest_cmh2o", .number = w->lowest_cmh2o, .decimals = 1};
    out->values[out->n_values++] = (struct event_value){.key = "drawn_ml", .number = 1000 * w->drawn_l};
    return true;
}

bool one_way_tick(struct one_way *w, const struct tick *t, const struct ordinary *o, struct event *out)
{
    w->last[w->n % ONE_WAY_TICKS] = *t;
    w->n++;
    if (w->active) {
        w->drawn_l += t->q_net * TICK_S;
        w->raised += t->p > w->p_first + RAISED_CMH2O;
        w->ticks++;
        w->lowest_cmh2o = fmin(w->lowest_cmh2o, t->p);
        w->highest_cmh2o = fmax(w->highest_cmh2o, t->p);
        w->end_ns = t->t_ns;
        if (t->q_net > 0.5 * w->drawn_l / ((double)w->ticks * TICK_S))
            w->drawn_ns = t->t_ns + (int64_t)(TICK_S * 1e9);
        /* It is over when flow clearly turns outward or stands, or goes on so long that it is a leak. */
        bool stopped = t->t_ns - w->drawn_ns > STOPPED_NS;
        if (stopped || t->q_net < -OUT_L_S * w->flow_scale || t->t_ns - w->start_ns > MOST_NS)
            return report(w, stopped, out);
        return false;
    }
    if (t->q_net < -OUT_L_S * w->flow_scale)
        w->out_at = w->n;
    if (isnan(o->period_s) || w->n < w->out_at + LEAST_TICKS)
        return false;
    uint64_t ticks = (uint64_t)(PERIODS * o->period_s / TICK_S);
    ticks = ticks < LEAST_TICKS ? LEAST_TICKS : ticks;
    if (ticks > ONE_WAY_TICKS || w->n < ticks || w->n - w->out_at < ticks || !looks(w, ticks))
        return false;
    begin(w, ticks, o);
    w->end_ns = w->drawn_ns = t->t_ns;
    return false;
}

bool one_way_cut(struct one_way *w, struct event *out)
{
    bool is = report(w, false, out);
    w->n = w->out_at = 0;
    return is;
}
