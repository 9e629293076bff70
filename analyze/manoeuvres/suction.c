#include "analyze/manoeuvres/suction.h"

#include <math.h>

#define DRAWN_L_S    0.05
#define DRAWN_LEAST_L_S 0.03
#define DOUBT_NS      (6 * NS_PER_S)
#define UNDER_CMH2O  2.0
#define LOW_SHARE    0.35
#define SUSPECT_SHARE 0.15
#define OUT_SHARE    0.35 /* of the inward volume, at most, comes out again */
#define NEAR_SHARE    0.3
#define FILLING_NS    (4 * NS_PER_S)
#define REST_NS      (NS_PER_S * 3 / 2)
#define LEAST_NS     (3 * NS_PER_S)
#define MOST_NS      (45 * NS_PER_S)
#define MACHINE_LEAST 0.5

void suction_init(struct suction *s, double flow_scale)
{
    *s = (struct suction){.flow_scale = flow_scale};
}

/* Over the whole of it, gas went in and did not come back: a PEEP that was lowered is no suction. */
static bool drawing(const struct suction *s, int64_t length_ns)
{
    return s->drawn_l > s->flow_scale * DRAWN_LEAST_L_S * (double)length_ns * 1e-9;
}

static bool report(struct suction *s, struct event *out)
{
    int64_t length = s->end_ns - s->start_ns;
    bool is = s->active && length >= LEAST_NS && length <= MOST_NS && drawing(s, length);
    if (is) {
        bool open = s->drawn_l > CATHETER_L_S * (double)length * 1e-9;
        *out = (struct event){.start_ns = s->start_ns, .end_ns = s->end_ns, .confidence = CONF_POSSIBLE,
                              .id = open ? EVENT_disconnection : EVENT_suction, .n_values = open ? 1 : 4};
        out->values[0] = (struct event_value){.key = "form", .number = (double)NAN, .text = "b"};
        if (!open)
            out->values[0] = (struct event_value){.key = "kind", .number = (double)NAN, .text = "closed"};
        out->values[1] = (struct event_value){.key = "lowest_cmh2o", .number = s->lowest_cmh2o, .decimals = 1};
        out->values[2] = (struct event_value){.key = "under_peep_s", .number = s->under_s, .decimals = 1};
        out->values[3] = (struct event_value){.key = "drawn_ml", .number = 1000 * s->drawn_l, .decimals = 0};
    }
    s->active = false;
    s->filling = is;
    return is;
}

/* Do the last 3 s look like it? Also finds where it began. */
static bool looks(const struct suction *s, double peep, double low_share, int64_t *start_ns)
{
    double in = 0, out = 0;
    int low = 0;
    *start_ns = -1;
    for (uint64_t k = s->n - SUCTION_TICKS; k < s->n; k++) {
        const struct tick *t = &s->last[k % SUCTION_TICKS];
        if (t->q_net > 0)
            in += t->q_net * TICK_S;
        else
            out -= t->q_net * TICK_S;
        if (t->p <= peep - UNDER_CMH2O) {
            low++;
            if (*start_ns < 0)
                *start_ns = t->t_ns;
        }
    }
    return in - out > s->flow_scale * DRAWN_L_S * SUCTION_TICKS * TICK_S && out <= OUT_SHARE * in && low >= low_share * SUCTION_TICKS;
}

bool suction_suspected(const struct suction *s, const struct ordinary *o)
{
    int64_t start_ns;
    return s->active || (s->n >= SUCTION_TICKS && s->low >= SUSPECT_SHARE * SUCTION_TICKS &&
                         looks(s, o->peep_cmh2o, SUSPECT_SHARE, &start_ns));
}

/* PEEP has a new median: which of the kept means are low is counted anew. */
static void recount(struct suction *s, double bar)
{
    uint64_t from = s->n > SUCTION_TICKS ? s->n - SUCTION_TICKS : 0;
    s->low_bar = bar;
    s->low = 0;
    for (uint64_t k = from; k < s->n; k++)
        s->low += s->last[k % SUCTION_TICKS].p <= bar;
}

bool suction_tick(struct suction *s, const struct tick *t, const struct ordinary *o, struct event *out)
{
    struct tick *slot = &s->last[s->n % SUCTION_TICKS];
    if (s->n >= SUCTION_TICKS && slot->p <= s->low_bar)
        s->low--;
    *slot = *t;
    s->n++;
    if (o->peep_cmh2o - UNDER_CMH2O != s->low_bar)
        recount(s, o->peep_cmh2o - UNDER_CMH2O);
    else if (t->p <= s->low_bar)
        s->low++;
    if (s->active) {
        s->drawn_l += t->q_net * TICK_S;
        s->lowest_cmh2o = fmin(s->lowest_cmh2o, t->p);
        if (t->p <= s->peep_cmh2o - UNDER_CMH2O) {
            s->low_ns = t->t_ns;
            s->under_s += TICK_S;
        }
        /* A lung that was emptied fills again over many breaths: the drawing ended when pressure last came near its
         * lowest. */
        if (t->p <= s->lowest_cmh2o + NEAR_SHARE * (s->peep_cmh2o - s->lowest_cmh2o))
            s->end_ns = t->t_ns + (int64_t)(TICK_S * 1e9);
        int64_t length = t->t_ns - s->start_ns;
        if (length > DOUBT_NS && !drawing(s, length))
            s->active = false;
        else if (t->t_ns - s->low_ns > REST_NS || t->t_ns - s->end_ns > FILLING_NS || t->t_ns - s->start_ns > MOST_NS)
            return report(s, out);
        return false;
    }
    if (s->filling && t->p > o->peep_cmh2o - UNDER_CMH2O)
        s->filling = false;
    if (s->filling || s->n < SUCTION_TICKS || s->low < LOW_SHARE * SUCTION_TICKS || isnan(o->peep_cmh2o) || o->machine_share < MACHINE_LEAST)
        return false;
    int64_t start_ns;
    if (!looks(s, o->peep_cmh2o, LOW_SHARE, &start_ns))
        return false;
    s->active = true;
    s->start_ns = start_ns;
    s->peep_cmh2o = o->peep_cmh2o;
    s->lowest_cmh2o = INFINITY;
    s->drawn_l = s->under_s = 0;
    s->end_ns = start_ns;
    s->low_ns = t->t_ns;
    for (uint64_t k = s->n - SUCTION_TICKS; k < s->n; k++) {
        const struct tick *p = &s->last[k % SUCTION_TICKS];
        if (p->t_ns < start_ns)
            continue;
        s->drawn_l += p->q_net * TICK_S;
        s->lowest_cmh2o = fmin(s->lowest_cmh2o, p->p);
        if (p->p <= s->peep_cmh2o - UNDER_CMH2O) {
            s->under_s += TICK_S;
            s->end_ns = p->t_ns + (int64_t)(TICK_S * 1e9);
        }
    }
    return false;
}

bool suction_cut(struct suction *s, struct event *out)
{
    bool is = report(s, out);
    s->n = 0;
    s->low = 0;
    return is;
}
