#include "analyze/breath/seg.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"
#include "analyze/breath/seg_base.h"
#include "analyze/breath/seg_fall.h"
#include "analyze/breath/seg_onset.h"
#include "analyze/breath/seg_turn.h"

#include <string.h>

#define STILL_S        0.25
#define BREATH_LONG_S  20.0 /* from t0 */
#define CAND_WAIT_S    2.5 /* longer for a candidate that stands by then */
#define HEART_MOST_L_S 0.06 /* amplitude; 5 L/min peak to peak, the most that bench studies use, is 0.042 */
#define FOOT_LEAST     (-2.0)
#define REST_FROM_S    0.35
#define REST_TO_S      0.20
#define REST_MOST_CMH2O 4.0
#define PUSHED_CMH2O   3.0
#define PUSHED_S       0.1
#define DRAWN_LEAST_S  0.35 /* a machine that a draw triggers answers sooner */
#define GIVEN          0.85
#define DIP_CMH2O      1.0
#define DIP_SDS        8.0
#define PULL_CMH2O     3.0 /* deeper than triggers are set */
#define DIP_GRAIN_S    0.010
#define FEET_AGE_NS    (INT64_C(60) * NS_PER_S)

void seg_init(struct seg *s, struct ring *r, const struct noise *z, struct breath_scale scale, seg_breath_fn *fn,
              void *user)
{
    memset(s, 0, sizeof *s);
    s->ring = r;
    s->noise = z;
    s->scale = scale;
    s->fn = fn;
    s->user = user;
    s->peep = (double)NAN;
    s->foot_ns = INT64_MIN / 2;
    base_flow_init(&s->base, scale.flow);
    elbow_init(&s->elbow, r, z, &s->base, scale);
    s->margin = s->elbow.span + s->elbow.half + 2;
    s->stride = ring_count(r, 0.016);
    if (s->stride > 1 && r->rate_hz < 100)
        s->stride = 1;
}

static void thresholds(struct seg *s)
{
    elbow_refresh(&s->elbow);
    double sd30 = s->noise->q_sd_l_s / sqrt((double)s->elbow.mean);
    s->q_hi = larger(0.05 * s->scale.flow, 4 * sd30);
    s->q_lo = s->q_hi / 3;
}

/* Where pressure rested before an effort pulled it down: a third of a second before the step. */
static double rested(const struct seg *s, const struct seg_breath *b, uint64_t turned)
{
    uint64_t from = ring_count(s->ring, REST_FROM_S * s->scale.time), to = ring_count(s->ring, REST_TO_S * s->scale.time);
    uint64_t first = ring_first(s->ring) > turned + to ? ring_first(s->ring) : turned + to;
    if (b->i0 < first + from || from <= to)
        return b->p_foot;
    return larger(b->p_foot, smaller(ring_p_mean(s->ring, b->i0 - from, b->i0 - to), b->p_foot + REST_MOST_CMH2O));
}

static void enter_foot(struct seg *s, const struct seg_breath *b, uint64_t turned)
{
    bool stale = b->t0_ns - s->foot_ns > FEET_AGE_NS;
    if (s->no_lesson && !isnan(s->peep))
        return;
    if (!b->machine && !stale)
        return;
    if (b->machine) {
        if (stale)
            s->n_feet = 0;
        s->foot_ns = b->t0_ns;
    }
    s->feet[s->n_feet % SEG_FEET] = larger(rested(s, b, turned), FOOT_LEAST); /* under it something else draws */
    s->n_feet++;
    double v[SEG_FEET];
    int n = s->n_feet < SEG_FEET ? s->n_feet : SEG_FEET;
    memcpy(v, s->feet, sizeof v);
    s->peep = order_median(v, n);
}

/* The heart's amplitude at the end of an expiration: 1.41 sd of 30 ms means about a straight line. */
static void enter_heart(struct seg *s, const struct seg_breath *b)
{
    const struct ring *r = s->ring;
    uint64_t from = b->i2 - ring_count(r, 0.75), to = b->i2 - ring_count(r, 0.08), step = s->elbow.mean;
    if (!b->complete || b->i2 < b->i1 + ring_count(r, 1.0) || from < ring_first(r))
        return;
    double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
    for (uint64_t j = from; j + step <= to; j += step) {
        double y = ring_q_mean(r, j, j + step), x = n;
        sx += x, sy += y, sxx += x * x, sxy += x * y, syy += y * y, n++;
    }
    double vxx = sxx - sx * sx / n, vxy = sxy - sx * sy / n, vyy = syy - sy * sy / n;
    if (n < 6 || vxx <= 0)
        return;
    double rest = larger(0, vyy - vxy * vxy / vxx) / (n - 2);
    s->heart[s->n_heart % SEG_HEARTS] = 1.41 * sqrt(rest);
    s->n_heart++;
    double v[SEG_HEARTS];
    int m = s->n_heart < SEG_HEARTS ? s->n_heart : SEG_HEARTS;
    memcpy(v, s->heart, sizeof v);
    s->a_card_l_s = smaller(order_median(v, m), HEART_MOST_L_S * s->scale.flow);
}

static void enter_base(struct seg *s, const struct seg_breath *b)
{
    const struct ring *r = s->ring;
    double root = 0, dt = 0;
    uint64_t step = ring_count(r, 0.02);
    for (uint64_t j = b->ended; j < b->i2; j += step) {
        root += sqrt(larger(ring_at(r, j)->p, 0));
        dt++;
    }
    double seconds = (double)(b->t2_ns - ring_at(r, b->ended)->t_ns) * 1e-9;
    double insp = ring_vol_l(r, b->i0, b->i1);
    base_flow_breath(&s->base, ring_vol_l(r, b->ended, b->i2), larger(insp, 1e-6), root / dt * seconds, seconds,
                     b->t2_ns);
}

static int close_breath(struct seg *s, uint64_t i2, int64_t t2_ns, bool complete, enum reason why)
{
    struct seg_breath *b = &s->open;
    b->i2 = i2;
    b->t2_ns = t2_ns;
    b->complete = complete;
    b->why = why;
    if (!b->has_t1) {
        b->i1 = i2;
        b->t1_ns = t2_ns;
    }
    int rc = s->fn(s->user, b);
    if (complete && !s->no_lesson) {
        enter_heart(s, b);
        enter_base(s, b);
    } else {
        base_flow_break(&s->base);
    }
    thresholds(s);
    return rc;
}

static int open_breath(struct seg *s)
{
    int rc = TM_OK;
    uint64_t turned = s->state == SEG_WAIT ? 0 : s->open.i1;
    if (s->state != SEG_WAIT)
        rc = close_breath(s, s->next.i0, s->next.t0_ns, true, WHY_NONE);
    s->open = s->next;
    s->open.ended = s->next.i0;
    s->cand = s->cand_machine = false;
    s->state = SEG_INSP;
    s->still_from = s->n;
    s->ran_from = s->n;
    s->stood_at = 0;
    s->q_peak = s->cand_peak;
    s->p_peak = ring_at(s->ring, s->n)->p;
    s->v_peak_l = s->v_low_l = ring_at(s->ring, s->n)->vol_l;
    s->v_peak_at = s->v_low_at = s->n;
    enter_foot(s, &s->open, turned);
    return rc;
}

static void note_turn(struct seg *s, double q_net)
{
    if (q_net < -s->q_lo)
        s->turned = true;
    if (fabs(q_net) > s->q_lo)
        s->still_from = s->n + 1;
    else if (s->n - s->still_from >= ring_count(s->ring, STILL_S))
        s->turned = true;
}

static int step_waiting(struct seg *s, uint64_t end, bool rise, bool maybe_fall, double q_net)
{
    struct elbow e;
    if (maybe_fall && s->state == SEG_EXP && seg_release(s, end, &e)) {
        s->open.i1 = e.at;
        s->open.t1_ns = e.t_ns;
        s->open.fall = true;
    }
    if (!s->turned)
        note_turn(s, q_net);
    if (!s->cand)
        seg_renew_base(s);
    if (seg_onset(s, end, rise, q_net) == ONSET_CONFIRMED)
        return open_breath(s);
    if (s->state != SEG_EXP)
        return TM_OK;
    /* However a candidate fares, a breath stays far shorter than what the ring keeps. */
    double age_s = (double)(ring_at(s->ring, s->n)->t_ns - s->open.t0_ns) * 1e-9;
    if (age_s > BREATH_LONG_S + (s->cand ? CAND_WAIT_S : 0) || ring_leaving(s->ring, s->open.i0)) {
        uint64_t i2 = s->cand ? s->next.i0 : s->n;
        int rc = close_breath(s, i2, s->cand ? s->next.t0_ns : ring_at(s->ring, i2)->t_ns, false, WHY_breath_long);
        s->state = SEG_WAIT;
        return rc;
    }
    return TM_OK;
}

/* What was open is no breath at all. */
static void forget(struct seg *s)
{
    base_flow_break(&s->base);
    s->state = SEG_WAIT;
    s->turned = false;
    s->still_from = s->n;
}

static bool pushed(const struct seg *s)
{
    uint64_t to = s->n + 1, from = s->n > s->open.i0 + ring_count(s->ring, PUSHED_S) ? to - ring_count(s->ring, PUSHED_S) : to - 1;
    if (from + 1 == to)
        return false;
    double rest = isnan(s->peep) ? s->open.p_foot : larger(s->peep, s->open.p_foot);
    return ring_p_mean(s->ring, from, to) > rest + PUSHED_CMH2O;
}

/* Gas drawn before a machine's pressure begins to rise, and flow with it, belongs to no breath: t0 moves to where pressure
 * was lowest last. Where flow was all given by then, it was the machine that gave it. */
static void begin_at_rise(struct seg *s)
{
    const struct ring *r = s->ring;
    uint64_t at = s->open.i0, k = s->elbow.mean;
    double low = INFINITY, least = s->noise->p_sd_cmh2o / sqrt((double)k);
    for (uint64_t j = s->open.i0; j + k <= s->n; j++) {
        double p = ring_p_mean(r, j, j + k);
        if (p <= low + least)
            at = j;
        low = smaller(low, p);
    }
    at += s->elbow.half;
    if (at < s->open.i0 + ring_count(r, DRAWN_LEAST_S * s->scale.time) || seg_net_mean(s, at) > GIVEN * s->q_peak)
        return;
    s->open.i0 = at;
    s->open.t0_ns = s->open.steady_ns = ring_at(r, at)->t_ns;
    s->open.p_foot = ring_p_mean(r, at - s->elbow.half, at + 1);
}

/* A draw on shut valves pulls pressure down ever faster until the machine gives: t0 moves to the steepest fall before the
 * lowest pressure, while flow still rises. */
static bool begin_at_dip(struct seg *s, double least_cmh2o)
{
    const struct ring *r = s->ring;
    uint64_t k = ring_count(r, DIP_GRAIN_S), to = s->open.i0 + ring_count(r, DRAWN_LEAST_S * s->scale.time), low = s->open.i0;
    double p_low = ring_p_mean(r, low, low + k), p0 = p_low, steepest = 0;
    for (uint64_t j = low; j < to && j + k <= s->n && ring_at(r, j)->q < GIVEN * s->q_peak; j++) {
        double p = ring_p_mean(r, j, j + k);
        low = p < p_low ? j : low;
        p_low = smaller(p_low, p);
    }
    if (p0 - p_low < larger(least_cmh2o, DIP_SDS * s->noise->p_sd_cmh2o))
        return false;
    uint64_t at = s->open.i0;
    for (uint64_t j = s->open.i0; j + k <= low; j++) {
        double fall = ring_p_mean(r, j, j + k) - ring_p_mean(r, j + k, j + 2 * k);
        at = fall > steepest ? j + k : at;
        steepest = larger(steepest, fall);
    }
    s->open.i0 = at;
    s->open.t0_ns = s->open.steady_ns = ring_at(r, at)->t_ns;
    return true;
}

static int step_inspiring(struct seg *s, uint64_t end, bool maybe_rise, bool maybe_fall, double q_net)
{
    struct seg_turn turn;
    const struct ring_slot *now = ring_at(s->ring, s->n);
    bool drawn = s->open.drawn;
    s->q_peak = larger(s->q_peak, q_net);
    s->p_peak = larger(s->p_peak, now->p);
    if (now->vol_l >= s->v_peak_l) {
        s->v_peak_l = s->v_low_l = now->vol_l;
        s->v_peak_at = s->v_low_at = s->n;
    } else if (now->vol_l <= s->v_low_l) {
        s->v_low_l = now->vol_l;
        s->v_low_at = s->n;
    }
    /* Nobody who draws gas in raises the pressure at his own mouth. */
    if (!s->open.machine && q_net > -s->q_lo && pushed(s)) {
        s->open.machine = s->open.drawn = true;
        begin_at_rise(s);
    }
    enum turn what = seg_turn_look(s, end, maybe_rise, maybe_fall, q_net, &turn);
    if (s->open.drawn && !drawn)
        (void)begin_at_dip(s, DIP_CMH2O);
    switch (what) {
    case TURN_NONE:
        break;
    case TURN_STEP: /* the machine joined in: t0 moves to its step, or where it gave to a pull that went on */
        if (begin_at_dip(s, PULL_CMH2O)) {
            s->next.i0 = s->open.i0;
            s->next.t0_ns = s->next.steady_ns = s->open.t0_ns;
        }
        s->next.ended = s->open.ended;
        s->open = s->next;
        s->cand = s->cand_machine = false;
        enter_foot(s, &s->open, s->open.i0); /* drawn until then: nothing rested */
        return TM_OK;
    case TURN_DRAWN:
        forget(s);
        return TM_OK;
    case TURN_EXPIRES:
    case TURN_AGAIN:
        s->open.i1 = turn.i1;
        s->open.t1_ns = turn.t1_ns;
        s->open.fall = turn.fall;
        s->open.has_t1 = true;
        s->state = SEG_EXP;
        s->turned = turn.turned;
        s->still_from = s->n;
        if (turn.i1 > s->n)
            s->n = turn.i1; /* what comes before the turn is of this inspiration */
        return TM_OK;
    }
    if (now->t_ns - s->open.t0_ns > (int64_t)(SEG_INSP_LONG_S * 1e9) || ring_leaving(s->ring, s->open.i0)) {
        forget(s); /* nobody inspires for so long: gas is drawn, or leaks away */
    }
    return TM_OK;
}

/* Examines samples while `look` samples follow them (0: to the very end of the run). */
static int advance(struct seg *s, uint64_t look)
{
    struct ring *r = s->ring;
    uint64_t end = r->end, first = r->begin + s->elbow.mean + s->elbow.half + 1;
    if (s->n < first) {
        s->n = first;
        s->still_from = first;
        thresholds(s);
    }
    int rc = TM_OK;
    while (rc == TM_OK && s->n + look < end) {
        double dp = 0, dq = 0;
        bool maybe = s->n + s->margin < end && elbow_moves(&s->elbow, s->n) && elbow_maybe(&s->elbow, s->n, &dp, &dq);
        double q_net = seg_net_mean(s, s->n);
        /* Decisions see the same samples however the rest arrives. */
        uint64_t horizon = look && s->n + look < end ? s->n + look + 1 : end;
        if (s->state == SEG_INSP)
            rc = step_inspiring(s, horizon, maybe && dp > 0, maybe && dp < 0, q_net);
        else
            rc = step_waiting(s, horizon, maybe && dp > 0, maybe && dp < 0, q_net);
        s->n += s->stride;
    }
    return rc;
}

int seg_follow(struct seg *s)
{
    return advance(s, s->elbow.ahead);
}

int seg_cut(struct seg *s, enum reason why)
{
    int rc = s->ring->end > s->ring->begin ? advance(s, 0) : TM_OK;
    if (rc == TM_OK && s->state != SEG_WAIT)
        rc = close_breath(s, s->ring->end - 1, ring_at(s->ring, s->ring->end - 1)->t_ns, false, why);
    s->state = SEG_WAIT;
    s->cand = s->cand_machine = false;
    s->turned = false;
    return rc;
}
