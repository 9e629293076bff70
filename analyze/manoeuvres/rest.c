#include "analyze/manoeuvres/rest.h"

#include <math.h>

#define SECOND_TICKS 20
#define LEAST        10  /* resting seconds in a row */
#define NEAR_CMH2O   1.0 /* a second's mean from that of those before: beats are shorter than a second or nearly so */
#define MOVED        0.5 /* of a counting volume, in a second, beside what flows steadily */
#define STEADY       4.0 /* counting volumes a second: more is no leak */
#define USUAL_VT     10  /* counting volumes: a breath, where none was seen */
#define PERIOD_S     2.5

void rest_init(struct rest *r)
{
    *r = (struct rest){.known_ns = -1, .level_cmh2o = (double)NAN};
}

static void again(struct rest *r)
{
    r->ticks = r->seconds = 0;
    r->p_sum = r->q_sum = 0;
}

void rest_tick(struct rest *r, const struct tick *t, double count_min_l, bool spoiled)
{
    if (spoiled) {
        again(r);
        return;
    }
    r->p_sum += t->p;
    r->q_sum += t->q_net;
    if (++r->ticks < SECOND_TICKS)
        return;
    double p = r->p_sum / SECOND_TICKS, q = r->q_sum / SECOND_TICKS;
    bool near = fabs(p - r->mean_cmh2o) < NEAR_CMH2O && fabs(q - r->mean_l_s) < MOVED * count_min_l;
    bool rests = fabs(q) < STEADY * count_min_l && (r->seconds == 0 || near);
    r->ticks = 0;
    r->p_sum = r->q_sum = 0;
    if (!rests) {
        r->seconds = 0;
        return;
    }
    r->seconds += r->seconds < LEAST;
    r->mean_cmh2o = r->seconds == 1 ? p : r->mean_cmh2o + (p - r->mean_cmh2o) / r->seconds;
    r->mean_l_s = r->seconds == 1 ? q : r->mean_l_s + (q - r->mean_l_s) / r->seconds;
    if (r->seconds == LEAST) {
        r->known_ns = t->t_ns;
        r->level_cmh2o = r->mean_cmh2o;
        r->flow_l_s = r->mean_l_s;
    }
}

void rest_instead(const struct rest *r, int64_t breath_ns, double count_min_l, struct ordinary *o, struct tick *t)
{
    if (r->known_ns < 0 || r->known_ns < breath_ns)
        return;
    t->q_net -= r->flow_l_s;
    *o = (struct ordinary){.peep_cmh2o = r->level_cmh2o, .pip_cmh2o = r->level_cmh2o, .te_s = (double)NAN,
                           .period_s = PERIOD_S, .period_spread = (double)NAN, .machine_share = 1,
                           .vt_l = isnan(o->vt_l) ? USUAL_VT * count_min_l : o->vt_l};
}
