#include "analyze/manoeuvres/hold_reading.h"

#include "analyze/breath/peaks.h"

#define READ_AT_S     2.0
#define WINDOW_S      0.25
#define FLAT_S        1.0 /* a heartbeat: over half of one it makes a slope of its own */
#define RELEASE_S     0.15
#define SHORT_S       0.3
#define LATE_S        1.5
#define EXP_LEAST_S   1.0
#define SLOPE_LOW     (-0.8)
#define SLOPE_LOW_PAUSE (-2.0)
#define SLOPE_HIGH    0.3
#define SLOPE_EXP_LOW (-0.5)
#define SLOPE_EXP_HIGH 0.8
#define LEAK_SLOPE    (-0.5)
#define SD_CMH2O      0.3
#define RISE_CMH2O    1.0
#define FALL_CMH2O    1.0
#define SETTLED_S     0.2
#define PIP_BACK_S    4.0
#define FLOW_S        0.1
#define STEADY_SHARE  0.1
#define FLOW_L_S      0.05
#define GUARD_S       0.02
#define VALVE_S       0.05 /* it shuts within */

bool hold_slope(const struct ring *r, uint64_t from, uint64_t to, double *slope, double *sd)
{
    uint64_t k = ring_count(r, TICK_S);
    double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
    for (uint64_t i = from; i + k <= to; i += k) {
        double y = ring_p_mean(r, i, i + k), t = n * (double)k / r->rate_hz;
        n++, sx += t, sy += y, sxx += t * t, sxy += t * y, syy += y * y;
    }
    if (n < 4)
        return false;
    double vxx = sxx - sx * sx / n, vxy = sxy - sx * sy / n, vyy = syy - sy * sy / n;
    *slope = vxy / vxx;
    *sd = sqrt(fmax(0, vyy - vxy * vxy / vxx) / (n - 2));
    return true;
}

/* The sample at which flow stopped, near the start of the stretch. */
static uint64_t closure(const struct shut_ctx *x, const struct shut_run *r, uint64_t i)
{
    const struct ring *g = x->ring;
    uint64_t tick = ring_count(g, TICK_S), k = ring_count(g, 0.02), j = i > r->from ? i : r->from;
    double zero = shut_zero_l_s(x, k);
    if (i > r->from || fabs(r->q_before_l_s) <= 2 * zero || j < ring_first(g) + tick)
        return j;
    for (j -= tick; j < r->from + 2 * tick; j++)
        if (fabs(ring_q_mean(g, j, j + k)) <= zero)
            return j;
    return r->from;
}

/* Highest rise of pressure above its lowest before, from a fifth of a second after closure on: 0.1 s means. */
static double rises(const struct ring *g, uint64_t from, uint64_t to)
{
    uint64_t k = ring_count(g, 2 * TICK_S);
    double low = INFINITY, most = 0;
    for (uint64_t i = from + ring_count(g, SETTLED_S); i + k <= to; i += k) {
        double p = ring_p_mean(g, i, i + k);
        most = fmax(most, p - low);
        low = fmin(low, p);
    }
    return most;
}

/* Resistances by the pressure that is lost as constant flow stops. */
static void resistances(const struct shut_ctx *x, uint64_t shut, struct hold_reading *h)
{
    const struct ring *g = x->ring;
    uint64_t n = ring_count(g, FLOW_S), guard = ring_count(g, VALVE_S);
    h->r_init_cmh2o_s_l = h->r_total_cmh2o_s_l = (double)NAN;
    if (shut < ring_first(g) + 3 * n + guard)
        return;
    double last = ring_q_mean(g, shut - guard - n, shut - guard), early = ring_q_mean(g, shut - guard - 3 * n, shut - guard - 2 * n);
    if (last < FLOW_L_S * x->flow_scale || fabs(last - early) > STEADY_SHARE * last)
        return;
    h->r_init_cmh2o_s_l = (h->pip_cmh2o - h->p1_cmh2o) / last;
    h->r_total_cmh2o_s_l = (h->pip_cmh2o - h->pplat_cmh2o) / last;
}

static void read_plateau(const struct shut_ctx *x, const struct shut_run *r, uint64_t shut, struct hold_reading *h)
{
    const struct ring *g = x->ring;
    uint64_t end = shut + ring_count(g, READ_AT_S), last = r->to - ring_count(g, RELEASE_S), w = ring_count(g, WINDOW_S);
    uint64_t back = ring_count(g, PIP_BACK_S), first = ring_first(g);
    double slope, sd, noise = x->noise->p_sd_cmh2o;
    uint64_t from = shut > first + back ? shut - back : first;
    if (r->raised_ns >= 0)
        from = ring_find(g, from, shut, r->raised_ns);
    h->pip_cmh2o = peak_pressure(g, from, shut);
    h->volume_l = ring_at(g, shut + w < r->to ? shut + w : r->to)->vol_l;
    end = end < last ? end : last;
    double held = (double)(int64_t)(end - shut) / g->rate_hz;
    h->why = WHY_hold_short;
    if (end <= shut || held < SHORT_S)
        return;
    h->late = held >= LATE_S;
    double tick_noise = noise / sqrt((double)(int64_t)ring_count(g, TICK_S)), rise = rises(g, shut, end);
    /* Not what the tubing and the fast units still do just after closure. */
    uint64_t flat = held >= FLAT_S + SHORT_S ? end - ring_count(g, FLAT_S) : shut + ring_count(g, fmin(SHORT_S, 0.4 * held));
    bool known = hold_slope(g, flat, end, &slope, &sd);
    h->why = WHY_NONE;
    if (rise > fmax(RISE_CMH2O, 4 * tick_noise))
        h->why = WHY_effort_suspected;
    else if (!known)
        h->why = WHY_hold_short;
    else if (slope > SLOPE_HIGH + tick_noise || sd > fmax(SD_CMH2O, 2 * tick_noise))
        h->why = WHY_hold_not_flat;
    else if (slope < (h->late ? SLOPE_LOW : SLOPE_LOW_PAUSE) - tick_noise)
        h->why = WHY_hold_not_flat;
    /* Relaxation bends, a leak does not. */
    uint64_t second = shut + ring_count(g, 1.0);
    if (h->why == WHY_NONE && h->late && hold_slope(g, second, end, &slope, &sd) && slope < LEAK_SLOPE - tick_noise / 2)
        h->why = WHY_leak_high;
    if (h->why != WHY_NONE)
        return;
    h->pplat_cmh2o = ring_p_mean(g, end - w, end);
    uint64_t half = shut + ring_count(g, 0.5), n = ring_count(g, 0.1);
    if (half + n <= end)
        h->pplat_0_5_cmh2o = ring_p_mean(g, half - n, half + n);
    double line = 0;
    uint64_t a = shut + ring_count(g, TICK_S), b = a + ring_count(g, WINDOW_S);
    if (b <= end && hold_slope(g, a, b, &line, &sd))
        h->p1_cmh2o = ring_p_mean(g, a, b) - line * (0.5 * WINDOW_S + TICK_S);
    resistances(x, shut, h);
}

/* Where pressure leaves its course downwards first, in samples [from, to): an effort; `to`: nowhere. */
static uint64_t first_effort(const struct ring *g, uint64_t from, uint64_t to, double least)
{
    uint64_t k = ring_count(g, 2 * TICK_S);
    double top = -INFINITY;
    for (uint64_t i = from; i + k <= to; i += k) {
        double p = ring_p_mean(g, i, i + k);
        if (p < top - least)
            return i - k > from ? i - k : from;
        top = fmax(top, p);
    }
    return to;
}

static void read_total_peep(const struct shut_ctx *x, const struct shut_run *r, uint64_t shut, struct hold_reading *h)
{
    const struct ring *g = x->ring;
    uint64_t n = ring_count(g, TICK_S), guard = ring_count(g, GUARD_S), w = ring_count(g, WINDOW_S);
    uint64_t least = shut + ring_count(g, EXP_LEAST_S), last = r->to - ring_count(g, RELEASE_S);
    uint64_t end = shut + ring_count(g, READ_AT_S);
    double slope, sd, tick_noise = x->noise->p_sd_cmh2o / sqrt((double)(int64_t)n);
    if (shut > ring_first(g) + n + guard)
        h->peep_cmh2o = ring_p_mean(g, shut - guard - n, shut - guard);
    h->why = WHY_hold_short;
    drive_occluded(g, shut + ring_count(g, VALVE_S), last, x->noise->p_sd_cmh2o, &h->p01);
    end = end < last ? end : last;
    if (end < least)
        return;
    uint64_t pull = first_effort(g, least - w, end, fmax(FALL_CMH2O, 4 * tick_noise));
    if (pull < least) {
        h->why = WHY_effort_suspected;
        return;
    }
    end = pull;
    h->why = WHY_NONE;
    if (!hold_slope(g, end - ring_count(g, 0.8 * FLAT_S), end, &slope, &sd))
        h->why = WHY_hold_short;
    else if (slope > SLOPE_EXP_HIGH + tick_noise || sd > fmax(SD_CMH2O, 2 * tick_noise))
        h->why = WHY_effort_suspected;
    else if (slope < SLOPE_EXP_LOW - tick_noise)
        h->why = WHY_leak_high;
    if (h->why == WHY_NONE)
        h->total_peep_cmh2o = ring_p_mean(g, end - w, end);
}

void hold_read(const struct shut_ctx *x, const struct shut_run *r, int64_t start_ns, bool inspired,
               struct hold_reading *out)
{
    const double none = (double)NAN;
    *out = (struct hold_reading){.inspired = inspired, .end_ns = r->to_ns, .pip_cmh2o = none, .p1_cmh2o = none,
                                 .pplat_cmh2o = none, .pplat_0_5_cmh2o = none, .volume_l = none, .r_init_cmh2o_s_l = none,
                                 .r_total_cmh2o_s_l = none, .peep_cmh2o = none, .total_peep_cmh2o = none,
                                 .p01 = {.p01_cmh2o = none, .why = WHY_no_hold}};
    const struct ring *g = x->ring;
    uint64_t first = ring_first(g), low = r->from > first + ring_count(g, 0.2) ? r->from - ring_count(g, 0.2) : first;
    uint64_t shut = closure(x, r, ring_find(g, low, r->to, start_ns));
    out->start_ns = ring_at(g, shut)->t_ns;
    if (r->from < first) { /* longer than what is kept */
        out->why = WHY_hold_not_flat;
        out->start_ns = start_ns;
    } else if (inspired) {
        read_plateau(x, r, shut, out);
    } else {
        read_total_peep(x, r, shut, out);
    }
}

static void put(struct event *e, const char *key, double v, int decimals)
{
    if (!isnan(v))
        e->values[e->n_values++] = (struct event_value){.key = key, .number = v, .decimals = decimals};
}

void hold_event(const struct hold_reading *h, enum confidence sure, struct event *out)
{
    *out = (struct event){.start_ns = h->start_ns, .end_ns = h->end_ns, .confidence = sure,
                          .id = h->inspired ? EVENT_insp_hold : EVENT_exp_hold};
    put(out, "hold_s", (double)(h->end_ns - h->start_ns) * 1e-9, 2);
    if (h->inspired) {
        put(out, "pip_cmh2o", h->pip_cmh2o, 2);
        put(out, "p1_cmh2o", h->p1_cmh2o, 2);
        put(out, "pplat_cmh2o", h->pplat_cmh2o, 2);
        put(out, "pplat_0_5_cmh2o", h->pplat_0_5_cmh2o, 2);
        put(out, "r_init_cmh2o_s_l", h->r_init_cmh2o_s_l, 2);
        put(out, "r_total_cmh2o_s_l", h->r_total_cmh2o_s_l, 2);
    } else {
        put(out, "peep_cmh2o", h->peep_cmh2o, 2);
        put(out, "total_peep_cmh2o", h->total_peep_cmh2o, 2);
        put(out, "autopeep_cmh2o", h->total_peep_cmh2o - h->peep_cmh2o, 2);
    }
    if (h->why != WHY_NONE)
        out->values[out->n_values++] = (struct event_value){.key = "why_empty", .number = (double)NAN, .text = reason_name(h->why)};
}
