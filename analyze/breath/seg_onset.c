#include "analyze/breath/seg_onset.h"

#include "analyze/breath/extreme.h"
#define CAND_MAX_S      2.5
#define SHAPE_S         0.5
#define SHAPE_CHANGE    0.30
#define SHAPELESS_L_S   0.2
#define SOFT_SDS        2.5
#define SOFT_L_S        0.006
#define EMPTYING_S      0.35
#define STOOD_S         0.4
#define STOOD_TOLS      2
#define FILLS_CMH2O     1.0 /* flow that began as pressure was raised fills the lung, slowly */

void seg_walk_back(const struct seg *s, uint64_t n, uint64_t *at, int64_t *t_ns)
{
    const struct ring *r = s->ring;
    double level = larger(3 * s->noise->q_sd_l_s, 0.01 * s->scale.flow);
    uint64_t first = ring_first(r), j = n;
    if (s->state == SEG_EXP && s->open.i1 > first)
        first = s->open.i1;
    double q = 0;
    while (j > first) {
        const struct ring_slot *a = ring_at(r, j);
        q = a->q - base_flow_at(&s->base, a->p);
        if (q <= level)
            break;
        j--;
    }
    /* A soft start hides in the noise of single samples: means over 60 ms follow it further. */
    uint64_t span = s->elbow.span;
    double soft = larger(SOFT_SDS * s->noise->q_sd_l_s / sqrt((double)span), SOFT_L_S * s->scale.flow);
    while (j > first + span) {
        double mean = ring_q_mean(r, j - span, j) - base_flow_at(&s->base, ring_at(r, j)->p);
        if (mean <= soft)
            break;
        j--;
    }
    *at = j;
    *t_ns = ring_at(r, j)->t_ns;
    if (j == n)
        return;
    /* If that sample still expires, the line to the next crosses zero between them. */
    const struct ring_slot *a = ring_at(r, j), *b = ring_at(r, j + 1);
    double q_next = b->q - base_flow_at(&s->base, b->p);
    if (q < 0 && q_next > q)
        *t_ns += (int64_t)((double)(b->t_ns - a->t_ns) * (-q / (q_next - q)));
}

/* Net flow over the 60 ms before sample j. */
static double net_before(const struct seg *s, uint64_t j)
{
    return ring_q_mean(s->ring, j - s->elbow.span, j) - base_flow_at(&s->base, ring_at(s->ring, j)->p);
}

/* Down the candidate's rise from half of its peak to where flow stood, inward: what flowed there is a leak that is not
 * known yet, and the breath begins where flow departs from it. */
static bool stood_inward(const struct seg *s, uint64_t *at, double *level)
{
    uint64_t span = s->elbow.span, back = ring_count(s->ring, STOOD_S * s->scale.time), j = s->cand_peak_at;
    double tol = larger(s->q_lo, 1.5 * s->a_card_l_s);
    if (s->next.i0 < ring_first(s->ring) + span)
        return false;
    while (j > s->next.i0 && net_before(s, j) > 0.5 * s->cand_peak)
        j--;
    while (j > s->next.i0 + back) {
        *level = net_before(s, j);
        if (*level < STOOD_TOLS * tol)
            return false;
        if (*level - net_before(s, j - back / 2) < tol && *level - net_before(s, j - back) < tol) {
            *at = j;
            return ring_p_mean(s->ring, j - span, j) < ring_p_mean(s->ring, s->next.i0 - span, s->next.i0) + FILLS_CMH2O;
        }
        j--;
    }
    return false;
}

static double volume_above_l(const struct seg *s, uint64_t from, double level)
{
    const struct ring_slot *a = ring_at(s->ring, from), *b = ring_at(s->ring, s->n);
    return ring_vol_l(s->ring, from, s->n) -
           (base_flow_at(&s->base, b->p) + level) * (double)(b->t_ns - a->t_ns) * 1e-9;
}

static void begin(struct seg *s, uint64_t at, int64_t t_ns)
{
    s->cand = true;
    s->cand_machine = false;
    s->cand_peak = 0;
    s->cand_peak_at = s->cand_low_at = at;
    s->next = (struct seg_breath){.i0 = at, .t0_ns = t_ns, .steady_ns = t_ns, .p_foot = ring_at(s->ring, at)->p, .peep_before = s->peep};
}

static void begin_machine(struct seg *s, const struct elbow *e)
{
    begin(s, e->at, e->t_ns);
    s->cand_machine = true;
    s->next.machine = true;
    s->next.steady_ns = e->steady_ns;
    s->next.p_foot = e->p_foot;
}

/* Leak or offset is inward flow without a shape: under 30 % change over 0.5 s and no peak to speak of. */
static bool has_shape(const struct seg *s, uint64_t end)
{
    if (s->cand_peak >= SHAPELESS_L_S * s->scale.flow)
        return true;
    uint64_t back = ring_count(s->ring, SHAPE_S / 2), from = s->n > back ? s->n - back : 0;
    uint64_t to = s->n + ring_count(s->ring, SHAPE_S / 2);
    if (from < s->next.i0)
        from = s->next.i0;
    if (to + s->elbow.half + 1 >= end)
        to = end > s->elbow.half + 2 ? end - s->elbow.half - 2 : s->n;
    double lo = INFINITY, hi = -INFINITY;
    for (uint64_t j = from; j <= to; j += s->elbow.mean) {
        double q = seg_net_mean(s, j);
        lo = smaller(lo, q);
        hi = larger(hi, q);
    }
    return hi - lo > SHAPE_CHANGE * hi;
}

/* Enough gas for a breath, whatever leaks; where a leak shows, the candidate starts behind it. */
static bool drawn_enough(struct seg *s, double least_l)
{
    uint64_t at;
    double level;
    if (volume_above_l(s, s->next.i0, 0) < least_l)
        return false;
    if (!stood_inward(s, &at, &level))
        return true;
    if (volume_above_l(s, at, level) < least_l)
        return false;
    const struct ring_slot *a = ring_at(s->ring, at);
    base_flow_stood(&s->base, level + base_flow_at(&s->base, a->p), ring_p_mean(s->ring, at - s->elbow.span, at));
    s->next.i0 = at;
    s->next.t0_ns = s->next.steady_ns = a->t_ns;
    s->next.p_foot = a->p;
    return true;
}

enum onset seg_onset(struct seg *s, uint64_t end, bool rise, double q_net)
{
    struct elbow e;
    uint64_t after = s->state == SEG_EXP ? s->open.i1 : ring_first(s->ring);
    bool undecided = !s->cand_machine || (q_net < 0 && s->n > s->next.i0 + s->elbow.span + s->elbow.mean);
    if (rise && undecided && elbow_rise(&s->elbow, s->n, end, s->peep, &e) && e.at >= after)
        begin_machine(s, &e);
    if (!s->cand && s->turned && q_net > s->q_hi) {
        uint64_t at;
        int64_t t_ns;
        seg_walk_back(s, s->n, &at, &t_ns);
        begin(s, at, t_ns);
    }
    if (!s->cand || s->n <= s->next.i0)
        return ONSET_NONE;
    if (q_net > s->cand_peak) {
        s->cand_peak = q_net;
        s->cand_peak_at = s->n;
    }
    if (ring_at(s->ring, s->n)->vol_l < ring_at(s->ring, s->cand_low_at)->vol_l)
        s->cand_low_at = s->n;
    if (s->cand_machine) {
        if (volume_above_l(s, s->cand_low_at, 0) >= s->scale.count_min_l)
            return ONSET_CONFIRMED;
    } else if ((q_net < 0 || has_shape(s, end)) &&
               drawn_enough(s, larger(s->scale.count_min_l, HEART_LOBE_S * s->a_card_l_s))) {
        return ONSET_CONFIRMED;
    }
    double age_s = (double)(ring_at(s->ring, s->n)->t_ns - s->next.t0_ns) * 1e-9;
    bool emptying = ring_at(s->ring, s->next.i0)->q < -s->q_hi;
    uint64_t step = emptying ? ring_count(s->ring, EMPTYING_S) : s->elbow.span + s->elbow.mean;
    bool past_step = !s->cand_machine || s->n > s->next.i0 + step;
    bool stale = age_s > (s->cand_machine ? CAND_MAX_S : SEG_INSP_LONG_S) || ring_leaving(s->ring, s->next.i0);
    if ((q_net < 0 && past_step) || stale) {
        /* Inward flow that stays without coming to a breath is leak or offset: it has to turn before it can start one. */
        bool flows_on = stale && !s->cand_machine && q_net >= 0;
        s->cand = s->cand_machine = false;
        s->turned = (s->turned || q_net < 0) && !flows_on;
        if (flows_on)
            s->still_from = s->n;
    }
    return ONSET_NONE;
}
