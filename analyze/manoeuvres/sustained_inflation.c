#include "analyze/manoeuvres/sustained_inflation.h"

#include "analyze/breath/extreme.h"

#include <math.h>

#define LEAST_CMH2O     17.0
#define ABOVE_PEEP      6.0
#define WITHIN_CMH2O    2.0
#define LEAST_NS        (8 * NS_PER_S)
#define OFF_TICKS       30 /* 1.5 s under it: an effort on top does not end it */
#define OVER_TICKS      14 /* 0.7 s over it: a cough; longer is a breath of the machine's */
#define SETTLED_TICKS   20 /* 1 s at level: before that it is still rising */
#define OFF_SHARE       0.7
#define RISE_SHARE      0.5 /* of the level above PEEP: less is an expiration */
#define MEMORY_TICKS    100
#define BREATH_SHARE    0.3 /* of the usual volume */
#define BREATHS         2
#define MANOEUVRE_NS    (13 * NS_PER_S) /* manoeuvres are held for 15 s and more, a minute at most */
#define MOST_NS         (60 * NS_PER_S)

void sustained_inflation_init(struct sustained_inflation *s)
{
    *s = (struct sustained_inflation){.start_ns = -1, .peep_cmh2o = (double)NAN};
}

static bool report(struct sustained_inflation *s, struct event *out)
{
    int64_t length = s->last_ns - s->start_ns;
    bool level = s->breaths >= BREATHS && (length < MANOEUVRE_NS || length > MOST_NS);
    bool held = s->start_ns >= 0 && length >= LEAST_NS && !level;
    if (held) {
        double mean = s->sum / s->n;
        *out = (struct event){.start_ns = s->start_ns, .end_ns = s->last_ns, .id = EVENT_sustained_inflation,
                              .confidence = CONF_DEFINITE, .n_values = 3};
        out->values[0] = (struct event_value){.key = "level_cmh2o", .number = mean, .decimals = 1};
        out->values[1] = (struct event_value){.key = "level_sd_cmh2o",
                                              .number = sqrt(fmax(0, s->sum2 / s->n - mean * mean)), .decimals = 2};
        out->values[2] = (struct event_value){.key = "held_s",
                                              .number = (double)(s->last_ns - s->start_ns) * 1e-9, .decimals = 2};
    }
    double peep = s->peep_cmh2o;
    sustained_inflation_init(s);
    s->peep_cmh2o = peep;
    return held;
}

static void begin(struct sustained_inflation *s, const struct tick *t)
{
    s->start_ns = s->last_ns = t->t_ns;
    s->mean = s->sum = t->p;
    s->sum2 = t->p * t->p;
    s->n = 1;
    s->off = s->breaths = 0;
    s->moved_l = 0;
    s->out = false;
}

/* Who breathes out and in again at that pressure is ventilated there: a level, unless it is as long as a manoeuvre. */
static void breathes(struct sustained_inflation *s, const struct tick *t, const struct ordinary *o)
{
    double least = BREATH_SHARE * o->vt_l, v = s->moved_l + t->q_net * TICK_S;
    s->moved_l = s->out ? fmax(v, 0) : fmin(v, 0); /* against the present way, since the volume's extreme */
    if (isnan(least) || fabs(s->moved_l) < least)
        return;
    s->breaths += s->out;
    s->out = !s->out;
    s->moved_l = 0;
}

bool sustained_inflation_tick(struct sustained_inflation *s, const struct tick *t, const struct ordinary *o,
                              struct event *out)
{
    if (!s->active && !isnan(o->peep_cmh2o))
        s->peep_cmh2o = o->peep_cmh2o;
    double peep = isnan(s->peep_cmh2o) ? 0 : s->peep_cmh2o, least = larger(LEAST_CMH2O, peep + ABOVE_PEEP);
    bool high = t->p >= least - (s->active ? WITHIN_CMH2O : 0);
    if (s->start_ns < 0) {
        if (high)
            begin(s, t);
        return false;
    }
    breathes(s, t, o);
    if (high && fabs(t->p - s->mean) <= WITHIN_CMH2O) {
        double w = s->n < MEMORY_TICKS ? s->n : MEMORY_TICKS;
        s->mean += (t->p - s->mean) / (w + 1);
        s->sum += t->p;
        s->sum2 += t->p * t->p;
        s->n++;
        s->off = 0;
        s->last_ns = t->t_ns + (int64_t)(TICK_S * 1e9);
        s->active = s->active || s->last_ns - s->start_ns >= LEAST_NS;
        return false;
    }
    int allowed = t->p < s->mean ? OFF_TICKS : OVER_TICKS;
    if (++s->off <= allowed && s->n >= SETTLED_TICKS && t->p >= larger(OFF_SHARE * s->mean, peep + RISE_SHARE * (s->mean - peep)))
        return false;
    if (report(s, out))
        return true;
    if (high)
        begin(s, t);
    return false;
}

bool sustained_inflation_suspected(const struct sustained_inflation *s)
{
    return s->start_ns >= 0 && s->last_ns - s->start_ns >= 3 * NS_PER_S;
}

bool sustained_inflation_cut(struct sustained_inflation *s, struct event *out)
{
    return report(s, out);
}
