#include "analyze/breath/seg_own.h"

#include "analyze/breath/extreme.h"

#define STILL_S       0.25
#define LOOK_BACK_S   0.1
#define OWN_AFTER_S   1.3  /* in shorter inflations it is an effort within them */
#define RUN_OUT_SHARE 0.12 /* of the peak: flow has run out */

static double net_before(const struct seg *s, uint64_t j)
{
    return ring_q_mean(s->ring, j - s->elbow.span, j) - base_flow_at(&s->base, ring_at(s->ring, j)->p);
}

/* Down from the top to half of it (not past `low`, which was before the rise had come so far), then to where flow no
 * longer falls on the way back. */
static uint64_t rise_began(const struct seg *s, uint64_t low)
{
    uint64_t at = s->n, back = ring_count(s->ring, LOOK_BACK_S), first = s->open.i0 + s->elbow.span + back;
    double top = 0;
    for (double q; at > first && at > low && (q = net_before(s, at)) > 0.5 * top; at--)
        top = larger(top, q);
    while (at > first && net_before(s, at) > net_before(s, at - back) + 0.5 * s->q_lo)
        at--;
    return at;
}

static double net_volume_l(const struct seg *s, uint64_t from)
{
    const struct ring_slot *a = ring_at(s->ring, from), *b = ring_at(s->ring, s->n);
    return ring_vol_l(s->ring, from, s->n) - base_flow_at(&s->base, b->p) * (double)(b->t_ns - a->t_ns) * 1e-9;
}

static bool begins(struct seg *s, uint64_t ended, uint64_t at, double q_net, struct seg_turn *out)
{
    const struct ring_slot *a = ring_at(s->ring, at);
    *out = (struct seg_turn){.i1 = ended, .t1_ns = ring_at(s->ring, ended)->t_ns, .turned = true};
    s->next = (struct seg_breath){.i0 = at, .t0_ns = a->t_ns, .steady_ns = a->t_ns, .p_foot = a->p, .peep_before = s->peep};
    s->cand = true;
    s->cand_machine = false;
    s->cand_peak = q_net;
    s->cand_peak_at = s->n;
    return true;
}

bool seg_own_breath(struct seg *s, double q_net, struct seg_turn *out)
{
    const struct ring *r = s->ring;
    double rest = larger(s->q_lo, RUN_OUT_SHARE * s->q_peak), least = larger(s->scale.count_min_l, HEART_LOBE_S * s->a_card_l_s);
    if (fabs(q_net) > rest)
        s->ran_from = s->n + 1;
    else if (s->n > s->ran_from && s->n - s->ran_from >= ring_count(r, STILL_S * s->scale.time))
        s->stood_at = s->n;
    if (!s->open.machine || q_net <= s->q_hi)
        return false;
    if (s->v_peak_l - s->v_low_l >= least && net_volume_l(s, s->v_low_at) >= least) {
        uint64_t at = rise_began(s, s->v_low_at);
        return begins(s, s->v_peak_at, at > s->v_low_at ? at : s->v_low_at, q_net, out);
    }
    double age_s = (double)(ring_at(r, s->n)->t_ns - s->open.t0_ns) * 1e-9;
    if (age_s < OWN_AFTER_S * s->scale.time || s->stood_at <= s->open.i0 + s->elbow.span || q_net <= rest + s->q_hi)
        return false;
    uint64_t at = rise_began(s, s->stood_at);
    return net_volume_l(s, at) >= least && begins(s, at, at, q_net, out);
}
