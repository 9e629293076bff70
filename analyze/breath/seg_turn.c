#include "analyze/breath/seg_turn.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/seg_fall.h"
#include "analyze/breath/seg_own.h"

#define OUTWARD_MIN_L    0.025
#define OUTWARD_OWN_L    0.016 /* unassisted: 40 % of what counts as a breath */
#define HELD_CMH2O       3.0
#define FALL_WITHIN_S    0.5
#define HELD_MOST_S      1.5
#define HELD_SHARE       0.5
#define HELD_FULL        0.75
#define EXPIRED_SHARE    0.35
#define INSPIRED_MOST_L  1.0
#define SECOND_P_SHARE   0.45
#define SECOND_Q_SHARE   0.35
#define SECOND_P_CMH2O   1.5
#define LEAP_CMH2O       1.0
#define JERK_SHARE       0.6
#define LEAP_DIP_L_S     0.08
#define LEAP_S           0.15
#define LEAP_GAIN        1.5 /* more flow than before it is a delivery of its own */
#define STILL_S          0.25
#define JOIN_GAIN        1.15
#define JOIN_FED         0.3
#define JOIN_CMH2O       1.0
#define JOIN_L_S         0.2
#define FED_S            0.15
#define FED_SHARE        0.6
#define STOOD_SHARE      0.1
#define FLAT_AFTER_S     2.5
#define FLAT_S           0.6
#define TURN_BACK_S      0.75
#define STOPPED_S        0.15
#define STOP_L_S         0.15
#define STOP_REST        0.1
#define STOP_ABRUPT      1.3
#define DRAWN_S          4.0 /* nobody inspires evenly for so long, to stop at once */
#define INSP_MIN_S       0.08

/* Does flow stay outward long enough: a volume, before it comes back inward. */
static bool outward_for_good(const struct seg *s, uint64_t from, uint64_t end)
{
    double least = s->open.machine ? OUTWARD_MIN_L : OUTWARD_OWN_L;
    double need = larger(least * s->scale.volume, HEART_LOBE_S * s->a_card_l_s), out = 0;
    for (uint64_t j = from + 1; j < end; j++) {
        const struct ring_slot *a = ring_at(s->ring, j - 1), *b = ring_at(s->ring, j);
        double q = b->q - base_flow_at(&s->base, b->p);
        out -= q * (double)(b->t_ns - a->t_ns) * 1e-9;
        if (out >= need)
            return true;
        if ((j - from) % s->elbow.mean == 0 && seg_net_mean(s, j) > s->q_lo)
            return false;
    }
    return out > 0;
}

/* Outward flow while the machine still holds its pressure (a relief valve, an effort that ends, a push) is no start
 * of expiration: the expiratory side opens later, and then pressure falls. */
static bool pressure_held(const struct seg *s)
{
    const struct ring_slot *now = ring_at(s->ring, s->n);
    double above = now->p - s->peep, in = s->v_peak_l - ring_at(s->ring, s->open.i0)->vol_l;
    in = smaller(in, INSPIRED_MOST_L * s->scale.volume); /* an open circuit passes litres */
    bool full = above > HELD_FULL * (s->p_peak - s->peep);
    if (!full && s->v_peak_l - now->vol_l > EXPIRED_SHARE * in) /* it is one, and PEEP is not what it was */
        return false;
    return s->open.machine && !isnan(s->peep) && above > HELD_CMH2O && above > HELD_SHARE * (s->p_peak - s->peep);
}

/* Nor is it while pressure still has to rise by 1 and to fall by 2 within half a second: the valves are shut, a muscle
 * lets go, and the tubing's gas moves a little. Where no machine has shown yet, pressure has to top PEEP by 3 while nothing
 * flows out: against an open valve only flow makes that. */
static bool pressure_rises_first(const struct seg *s, uint64_t from, uint64_t end)
{
    uint64_t to = from + ring_count(s->ring, FALL_WITHIN_S * s->scale.time), k = s->elbow.half, at = from;
    if (from + k >= end || (!s->open.machine && isnan(s->peep)))
        return false;
    double now = ring_p_mean(s->ring, from - k, from + 1), top = now;
    double in = s->v_peak_l - ring_at(s->ring, s->open.i0)->vol_l;
    for (uint64_t j = from; j < to && j + 2 * k < end; j += k) {
        double p = ring_p_mean(s->ring, j, j + k);
        at = p > top ? j : at;
        top = larger(top, p);
        if (ring_vol_l(s->ring, from, j) < -EXPIRED_SHARE * in) /* that much does not pass shut valves */
            return false;
        if (top - now >= 1 && p <= top - 2)
            return s->open.machine || (top > s->peep + HELD_CMH2O && ring_q_mean(s->ring, at, at + 2 * k) > -s->q_lo);
    }
    return false;
}

/* A coarse or noisy flow flickers about zero as it turns: the turn for good is where the lung was fullest. */
static uint64_t fullest(const struct seg *s, uint64_t n)
{
    uint64_t back = ring_count(s->ring, TURN_BACK_S), from = n > s->open.i0 + back ? n - back : s->open.i0 + 1;
    uint64_t at = n;
    for (uint64_t j = n; j > from; j--)
        if (ring_at(s->ring, j)->vol_l > ring_at(s->ring, at)->vol_l)
            at = j;
    return at;
}

/* Where flow turned outward before sample n, interpolated. */
static void outward_crossing(const struct seg *s, struct seg_turn *out)
{
    uint64_t j = s->n;
    double q = 0;
    if (!s->open.machine)
        j = fullest(s, j);
    while (j > s->open.i0 + 1) {
        const struct ring_slot *a = ring_at(s->ring, j);
        q = a->q - base_flow_at(&s->base, a->p);
        if (q >= 0)
            break;
        j--;
    }
    out->i1 = j;
    out->t1_ns = ring_at(s->ring, j)->t_ns;
    if (j < s->n) {
        const struct ring_slot *a = ring_at(s->ring, j), *b = ring_at(s->ring, j + 1);
        double next = b->q - base_flow_at(&s->base, b->p);
        if (q > 0 && next < 0)
            out->t1_ns += (int64_t)((double)(b->t_ns - a->t_ns) * (q / (q - next)));
    }
}

/* Between the first peak and a second foot: how deep pressure and flow went, and when. */
struct dip {
    double p_top, p_low, q_low;
    uint64_t p_start; /* where pressure began its fall to p_low */
    bool jerk;        /* the patient pulled it down: flow stood no lower at p_low than before the fall */
    uint64_t q_last;  /* the last sample about as low as q_low */
};

static struct dip dip_before(const struct seg *s, uint64_t foot, uint64_t from)
{
    struct dip d = {.p_top = -INFINITY, .p_low = INFINITY, .q_low = INFINITY, .p_start = foot, .q_last = foot};
    uint64_t at = foot;
    bool risen = false; /* flow dips from where it came to; before that it rose, maybe slowly */
    for (uint64_t j = from; j <= foot; j++) {
        const struct ring_slot *a = ring_at(s->ring, j);
        double q = a->q - base_flow_at(&s->base, a->p);
        risen = risen || q >= SECOND_Q_SHARE * s->q_peak;
        if (risen && q <= d.q_low + s->q_lo)
            d.q_last = j;
        if (risen)
            d.q_low = smaller(d.q_low, q);
        if (a->p >= d.p_top) { /* what is low counts from the top on */
            d.p_top = a->p;
            d.p_low = INFINITY;
        }
        if (a->p < d.p_low) {
            d.p_low = a->p;
            at = j;
        }
    }
    uint64_t lowest = at;
    while (at > from && ring_at(s->ring, at)->p < d.p_low + 0.7 * (d.p_top - d.p_low))
        at--;
    d.p_start = at;
    uint64_t k = s->elbow.half;
    if (at > from + k)
        d.jerk = ring_at(s->ring, lowest)->q > JERK_SHARE * ring_q_mean(s->ring, at - k, at);
    return d;
}

/* An effort that ends under volume control: pressure leaps while flow dips for an instant and comes back, so that
 * the end of the dip looks like a step. Just before it the two moved in opposite ways, and flow is what it was. */
static bool effort_ended(const struct seg *s, uint64_t foot, uint64_t end)
{
    const struct ring *r = s->ring;
    uint64_t span = s->elbow.span, low = foot;
    for (uint64_t j = foot > 2 * span ? foot - 2 * span : foot; j <= foot + span && j < end; j++)
        if (ring_at(r, j)->q < ring_at(r, low)->q)
            low = j;
    if (low < s->open.i0 + span)
        return false;
    const struct ring_slot *a = ring_at(r, low - span), *b = ring_at(r, low);
    double after = 0;
    for (uint64_t j = low; j <= low + ring_count(r, LEAP_S) && j < end; j++)
        after = larger(after, ring_at(r, j)->q);
    return b->p - a->p >= LEAP_CMH2O && a->q - b->q >= LEAP_DIP_L_S * s->scale.flow && after < LEAP_GAIN * a->q;
}

/* What flow does not gain by is no start of delivery: volume control fed the draw all along, and pressure leaps as the
 * effort ends. */
static bool fed_all_along(const struct seg *s, const struct elbow *e, uint64_t end)
{
    uint64_t back = ring_count(s->ring, FED_S * s->scale.time);
    if (e->q_foot + e->q_step > JOIN_GAIN * s->q_peak || e->at < s->open.i0 + back)
        return false;
    bool stood = seg_net_mean(s, e->at - back) >= FED_SHARE * s->q_peak;
    return stood && (e->q_foot >= JOIN_FED * s->q_peak || effort_ended(s, e->at, end));
}

/* A machine that joins a draw brings pressure above where it rested, or most of the flow. */
static bool joins(const struct seg *s, const struct elbow *e)
{
    double rest = isnan(s->peep) ? s->open.p_foot : s->peep;
    return e->p_foot + e->p_step > rest + JOIN_CMH2O || (e->q_step >= JOIN_L_S * s->scale.flow && e->q_step >= e->q_foot);
}

/* A step inside an inspiration: the machine joining a draw of the patient's, or a second inflation. */
static enum turn look_rise(struct seg *s, uint64_t end, struct seg_turn *out)
{
    struct elbow e;
    if (!elbow_rise(&s->elbow, s->n, end, s->peep, &e) || e.at <= s->open.i0 + 1)
        return TURN_NONE;
    struct seg_breath next = {.i0 = e.at, .t0_ns = e.t_ns, .steady_ns = e.steady_ns, .machine = true, .p_foot = e.p_foot, .peep_before = s->peep};
    uint64_t from = s->open.i0 + ring_count(s->ring, INSP_MIN_S);
    if (!s->open.machine) {
        if (fed_all_along(s, &e, end)) {
            s->open.machine = s->open.drawn = true;
            return TURN_NONE;
        }
        if (!joins(s, &e))
            return TURN_NONE;
        s->next = next;
        return TURN_STEP;
    }
    struct dip d = dip_before(s, e.at, from);
    double peep = isnan(s->peep) ? s->open.p_foot : s->peep;
    /* Pressure that only ever rose is an effort that ends under volume control, whatever flow did. */
    bool fell = e.p_foot <= d.p_top - SECOND_P_CMH2O;
    bool by_p = d.p_low < peep + SECOND_P_SHARE * (d.p_top - peep);
    /* An effort in pressure control makes flow dip as well; a breath that ends lets pressure go, and noise makes little of it. */
    double sds = 2 * s->noise->p_sd_cmh2o;
    bool by_q = d.q_low < SECOND_Q_SHARE * s->q_peak && d.p_low + sds < peep + HELD_FULL * (d.p_top - sds - peep);
    /* Flow that stood still before it, or before the draw that called it, is over, though nothing fell: a hold that ends in
     * an inflation, a lung that was filled again, support at an upper level. */
    uint64_t still = ring_count(s->ring, STILL_S * s->scale.time);
    double little = STOOD_SHARE * larger(s->q_peak, e.q_foot + e.q_step);
    bool stood = e.at > from + still && fabs(ring_q_mean(s->ring, e.at - still, e.at)) < little;
    stood = stood || (e.at > from + 2 * still && fabs(ring_q_mean(s->ring, e.at - 2 * still, e.at - still)) < little);
    if (!stood && (!fell || (!by_p && !by_q) || d.jerk || e.at < from || effort_ended(s, e.at, end)))
        return TURN_NONE;
    out->i1 = by_p ? d.p_start : d.q_last;
    out->t1_ns = ring_at(s->ring, out->i1)->t_ns;
    out->fall = true;
    out->turned = false;
    s->next = next;
    s->cand = s->cand_machine = true;
    s->cand_peak = 0;
    return TURN_AGAIN;
}

/* An unassisted inspiration whose flow stands still for a quarter of a second has ended (suction that stops, a
 * breath held): the next rise is a breath of its own. */
static bool stopped_still(const struct seg *s)
{
    return !s->open.machine && s->n > s->still_from && s->n - s->still_from >= ring_count(s->ring, STILL_S * s->scale.time);
}

/* Inward flow that something drew (suction) stops at once and then stands; a breath's own goes on through zero. What
 * comes after it is a breath of its own. */
static bool drawing_stopped(const struct seg *s, uint64_t end, double q_net, uint64_t *at)
{
    uint64_t span = s->elbow.span, rest = ring_count(s->ring, STOPPED_S * s->scale.time);
    *at = s->n + span;
    if (s->open.machine || *at + rest + s->elbow.mean >= end)
        return false;
    double after = seg_net_mean(s, *at), lo = after, hi = after;
    if (q_net - after < larger(STOP_L_S * s->scale.flow, 0.3 * q_net) || after > s->q_hi + STOP_REST * s->q_peak)
        return false;
    /* At once: it stood until then. */
    if (s->n < s->open.i0 + span || seg_net_mean(s, s->n - span) - after > STOP_ABRUPT * (q_net - after))
        return false;
    for (uint64_t j = *at; j <= *at + rest; j += s->elbow.mean) {
        double q = seg_net_mean(s, j);
        lo = smaller(lo, q);
        hi = larger(hi, q);
    }
    return lo > -s->q_lo && hi - lo < s->q_hi;
}

static bool standing_at_peep(const struct seg *s, uint64_t end)
{
    const struct ring_slot *now = ring_at(s->ring, s->n);
    if (now->t_ns - s->open.t0_ns < (int64_t)(FLAT_AFTER_S * 1e9) || isnan(s->peep) || now->p > s->peep + HELD_CMH2O)
        return false;
    uint64_t back = ring_count(s->ring, FLAT_S), step = s->elbow.mean;
    if (s->n < s->open.i0 + back || end <= s->n)
        return false;
    double lo = INFINITY, hi = -INFINITY;
    for (uint64_t j = s->n - back; j <= s->n; j += step) {
        double q = seg_net_mean(s, j);
        lo = smaller(lo, q);
        hi = larger(hi, q);
    }
    return hi - lo < s->q_hi && hi < 0.2 * s->scale.flow;
}

enum turn seg_turn_look(struct seg *s, uint64_t end, bool maybe_rise, bool maybe_fall, double q_net,
                        struct seg_turn *out)
{
    struct elbow e;
    uint64_t least = s->open.i0 + ring_count(s->ring, INSP_MIN_S);
    if (maybe_fall && s->n > least && seg_fall(s, end, &e) && e.at > least &&
        !pressure_rises_first(s, e.at + s->elbow.span, end)) {
        s->open.drawn = s->open.drawn || !s->open.machine;
        s->open.machine = true;
        *out = (struct seg_turn){.i1 = e.at, .t1_ns = e.t_ns, .fall = true, .turned = false};
        return TURN_EXPIRES;
    }
    if (seg_own_breath(s, q_net, out))
        return TURN_AGAIN;
    if (maybe_rise) {
        enum turn t = look_rise(s, end, out);
        if (t != TURN_NONE)
            return t;
    }
    if (q_net < -s->q_hi && s->n > least && outward_for_good(s, s->n, end)) {
        if (s->held_from <= s->open.i0)
            s->held_from = s->n;
        if (pressure_rises_first(s, s->n, end)) {
            s->open.drawn = s->open.drawn || !s->open.machine;
            s->open.machine = true;
            return TURN_NONE;
        }
        if (pressure_held(s) && s->n - s->held_from < ring_count(s->ring, HELD_MOST_S))
            return TURN_NONE;
        *out = (struct seg_turn){.turned = true};
        outward_crossing(s, out);
        return TURN_EXPIRES;
    }
    if (fabs(q_net) > s->q_lo)
        s->still_from = s->n + 1;
    uint64_t stop;
    if (drawing_stopped(s, end, q_net, &stop)) {
        if (ring_at(s->ring, stop)->t_ns - s->open.t0_ns > (int64_t)(DRAWN_S * s->scale.time * 1e9))
            return TURN_DRAWN;
        *out = (struct seg_turn){.i1 = stop, .t1_ns = ring_at(s->ring, stop)->t_ns, .turned = true};
        return TURN_EXPIRES;
    }
    if (standing_at_peep(s, end) || stopped_still(s)) {
        *out = (struct seg_turn){.i1 = s->n, .t1_ns = ring_at(s->ring, s->n)->t_ns, .turned = true};
        return TURN_EXPIRES;
    }
    return TURN_NONE;
}
