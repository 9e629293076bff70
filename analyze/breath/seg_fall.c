#include "analyze/breath/seg_fall.h"

#include "analyze/breath/extreme.h"

#define INSP_MIN_S   0.08
#define HELD_CMH2O   3.0
#define HELD_SHARE   0.5
#define FALL_CMH2O   1.0
#define EVEN_S       0.25
#define EVEN_SHARE   0.10
#define EVEN_OF_PEAK 0.7
#define DRAWN_ON     0.25
#define DROP_S       0.010
#define PAUSE_S      0.20
#define SECOND_FALL  1.5
#define SECOND_START 0.25

/* Even flow, however low pressure stays, is given: volume control that a strong effort outdraws. */
static bool fed_evenly(const struct seg *s)
{
    uint64_t back = ring_count(s->ring, EVEN_S * s->scale.time), k = s->elbow.mean;
    double lo = INFINITY, hi = -INFINITY;
    if (s->n < s->open.i0 + back + ring_count(s->ring, INSP_MIN_S))
        return false;
    for (uint64_t j = s->n - back; j + k <= s->n; j += k) {
        double q = ring_q_mean(s->ring, j, j + k) - base_flow_at(&s->base, ring_at(s->ring, j)->p);
        lo = smaller(lo, q);
        hi = larger(hi, q);
    }
    return hi - lo < EVEN_SHARE * hi && lo > 2 * s->q_hi && hi > EVEN_OF_PEAK * s->q_peak;
}

static double drop(const struct ring *r, uint64_t j, uint64_t k)
{
    return ring_at(r, j)->p - ring_at(r, j + k)->p;
}

/* A pause shorter than the look for outward flow: pressure falls as flow stops, and again, more steeply, as the expiratory
 * side opens. */
static void after_short_pause(const struct seg *s, uint64_t end, struct elbow *e)
{
    const struct ring *r = s->ring;
    uint64_t k = ring_count(r, DROP_S), pause = e->at + s->elbow.span, to = pause, at = pause;
    while (to < e->at + ring_count(r, PAUSE_S) && to + 2 * k < end && ring_at(r, to)->q >= 0)
        to++;
    if (to == pause || to + 2 * k >= end || ring_at(r, to)->q >= 0)
        return;
    double first = 0, second = 0;
    for (uint64_t j = e->at; j + k <= pause; j++)
        first = larger(first, drop(r, j, k));
    for (uint64_t j = pause; j <= to; j++) {
        at = drop(r, j, k) > second ? j : at;
        second = larger(second, drop(r, j, k));
    }
    if (second < SECOND_FALL * first || second < 6 * s->noise->p_sd_cmh2o)
        return;
    while (at > pause && drop(r, at - 1, k) > SECOND_START * second)
        at--;
    e->at = at;
    e->t_ns = ring_at(r, at)->t_ns;
}

bool seg_fall(const struct seg *s, uint64_t end, struct elbow *e)
{
    bool even = fed_evenly(s);
    *e = (struct elbow){0};
    if (!s->open.machine && !even)
        return false;
    bool falls = elbow_fall(&s->elbow, s->n, end, s->peep, e);
    if (falls)
        after_short_pause(s, end, e);
    return falls ||
           (even && e->q_step > DRAWN_ON * e->q_foot && e->p_step > FALL_CMH2O && e->p_foot - e->p_step < s->peep + FALL_CMH2O);
}

bool seg_release(const struct seg *s, uint64_t end, struct elbow *e)
{
    double rise = s->p_peak - s->peep, least = larger(HELD_CMH2O, HELD_SHARE * rise);
    if (!s->open.machine || s->open.fall || s->cand || isnan(s->peep) || ring_at(s->ring, s->n)->p < s->peep + least)
        return false;
    if (!elbow_fall(&s->elbow, s->n, end, s->peep, e) || e->at <= s->open.i1 || e->p_foot < s->peep + least)
        return false;
    for (uint64_t j = s->open.i1; j + s->elbow.mean <= e->at; j += s->elbow.half)
        if (ring_p_mean(s->ring, j, j + s->elbow.mean) < s->peep + least)
            return false;
    return true;
}
