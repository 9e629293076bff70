#include "analyze/breath/classify.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#define RHYTHM_MOST   0.03 /* of the interval */
#define RING          4.0
#define RING_EASE     0.3
#define DENSER_MOST   3.0
#define CLOCK_SHARE   0.3
#define DRAW_SDS      6.0
#define DRAW_LEAST    0.002 /* L/s in an adult */
#define PULL_LEAST    0.02  /* cmH2O */
#define ODDS_SURE     0.5
#define ALIKE         0.10
#define ENDS_LEAST    4
#define ENDS_EASE     0.03
#define TIME_SURE     0.4
#define FLOW_SURE     -0.1
#define SLOPE_LEAST   0.05 /* of the peak a second */
#define RISES         0.5
#define FALLS         0.8
#define LASTS_ALIKE   0.25
#define PROFILE_LEAST 3
#define PUSH_ALIKE    0.2
#define SCALE_LEAST   0.8
#define FLOW_ALIKE    0.04
#define PRESSURE_ALIKE 0.06
#define HEART_R       10.0 /* cmH2O.s/L: what its flow makes of pressure, about */
#define REPETITION    2.0
#define RUN_OUT       0.06 /* flow cycling is set to 5 % of the peak at the least; in a valve's delay flow that falls steeply goes on */

/* Of 30 ms means; the heart's flow beside. */
struct classify_noise {
    double q_sd30, p_sd30, heart_l_s;
};

bool classify_is_machine(const struct breath_more *more)
{
    return more->machine || (more->fall && more->p_rise_cmh2o > 1.5);
}

static double interval_before(const struct classify_item *v, int k)
{
    if (k == 0 || !v[k - 1].row->complete)
        return (double)NAN;
    if (v[k - 1].row->t2_ns != v[k].row->t0_ns) /* what came between was dropped */
        return v[k - 1].row->v[COL_ttot_s];
    return (double)(v[k].more->steady_ns - v[k - 1].more->steady_ns) * 1e-9;
}

/* The intervals to the onset before, of the machine's breaths but this one. */
static int intervals(const struct classify_item *v, int n, int k, double *out)
{
    int m = 0;
    for (int i = 1; i < n; i++) {
        double d = interval_before(v, i);
        if (i != k && !isnan(d) && classify_is_machine(v[i].more))
            out[m++] = d;
    }
    return m;
}

/* How an interval recurs among others as only a clock's does: at one of three widths, for an onset in noise is found within
 * some tens of milliseconds. People vary by 3 % and more from breath to breath. */
struct recurrence {
    double share;  /* of the others, within the least width */
    double denser; /* logarithm: as many within a width against a width of the ring about it, at the sharpest; 0: none */
    double later;  /* share that are longer still */
};

static struct recurrence recurs(const double *d, int m, double own, double rate_hz)
{
    static const double widths_s[] = {0.015, 0.025, 0.040};
    struct recurrence x = {0};
    for (size_t w = 0; w < sizeof widths_s / sizeof *widths_s && m > 0 && !isnan(own); w++) {
        double near = larger(widths_s[w], 1.1 / rate_hz);
        if (w > 0 && near > RHYTHM_MOST * own)
            break;
        int in = 0, ring = 0, longer = 0;
        for (int i = 0; i < m; i++) {
            double off = d[i] - own;
            in += fabs(off) <= near;
            ring += fabs(off) > near && fabs(off) <= RING * near;
            longer += off > near;
        }
        double denser = log((in + RING_EASE) / (ring / (RING - 1) + RING_EASE)); /* the ring is 3 times as wide */
        x.denser = w == 0 ? denser : larger(x.denser, denser);
        if (w == 0) {
            x.share = (double)in / m;
            x.later = (double)longer / m;
        }
    }
    return x;
}

/* Two machine breaths of one kind: as high above PEEP. */
static bool same_push(const struct breath_more *a, const struct breath_more *b)
{
    return fabs(a->p_rise_cmh2o - b->p_rise_cmh2o) <= PUSH_ALIKE * larger(a->p_rise_cmh2o, b->p_rise_cmh2o);
}

/* Seconds since the machine last pushed as it does in breath i, whatever was breathed in between; NAN: not among these. */
static double since_same_push(const struct classify_item *v, int i)
{
    for (int j = i - 1; j >= 0 && v[j].row->complete; j--)
        if (classify_is_machine(v[j].more) && same_push(v[i].more, v[j].more))
            return (double)(v[i].more->steady_ns - v[j].more->steady_ns) * 1e-9;
    return (double)NAN;
}

/* The waits between pushes like this one, whatever was breathed in between. */
static int waits(const struct classify_item *v, int n, int k, double *out)
{
    int m = 0;
    for (int i = 1; i < n; i++) {
        if (i == k || !classify_is_machine(v[i].more) || !same_push(v[k].more, v[i].more))
            continue;
        double wait = since_same_push(v, i);
        if (!isnan(wait))
            out[m++] = wait;
    }
    return m;
}

static bool alike(double a, double b)
{
    return fabs(a - b) <= ALIKE * larger(fabs(a), fabs(b)); /* false where one is NAN */
}

/* Do two profiles agree within noise and a small share of their size? */
static bool repeats(const float *a, const float *b, int n, double share, double floor)
{
    double off = 0, size = 0;
    for (int i = 0; i < n; i++) {
        double d = (double)a[i] - (double)b[i];
        off += d * d;
        size += (double)a[i] * (double)a[i];
    }
    double most = share * sqrt(size / n);
    return sqrt(off / n) <= sqrt(most * most + floor * floor);
}

/* The same but for its size: a target that moves from breath to breath keeps its shape. */
static bool repeats_in_shape(const float *a, const float *b, int n, double share, double floor)
{
    float scaled[PROFILE];
    double ab = 0, bb = 0;
    for (int i = 0; i < n; i++) {
        ab += (double)a[i] * (double)b[i];
        bb += (double)b[i] * (double)b[i];
    }
    double by = bb > 0 ? ab / bb : 0;
    if (by < SCALE_LEAST || by > 1 / SCALE_LEAST)
        return false;
    for (int i = 0; i < n; i++)
        scaled[i] = (float)(by * (double)b[i]);
    return repeats(a, scaled, n, share, floor);
}

/* Over 0 where flow repeats about more often than pressure does: it is flow that is controlled, pressure follows from lung
 * and effort. About 0 in a passive patient, where both repeat. */
static double repetition(const struct classify_item *v, int n, int k, const struct classify_noise *z)
{
    const struct breath_more *own = v[k].more;
    const double q_floor = hypot(2 * z->q_sd30, z->heart_l_s), p_floor = hypot(2 * z->p_sd30, z->heart_l_s * HEART_R);
    int by_flow = 0, by_pressure = 0;
    for (int i = 0; i < n; i++) {
        const struct breath_more *m = v[i].more;
        int points = m->n_profile < own->n_profile ? m->n_profile : own->n_profile;
        if (i == k || !classify_is_machine(m) || points < PROFILE_LEAST)
            continue;
        by_flow += repeats(own->q_at, m->q_at, points, FLOW_ALIKE, q_floor);
        by_pressure += repeats_in_shape(own->p_at, m->p_at, points, PRESSURE_ALIKE, p_floor);
    }
    return REPETITION * log((by_flow + 3.0) / (by_pressure + 3.0));
}

static enum breath_control control_of(const struct classify_item *v, int n, int k, const struct classify_noise *z)
{
    const struct breath_row *own = v[k].row;
    double sum = 0;
    int count = 0;
    for (int i = 0; i < n; i++) {
        const struct breath_row *r = v[i].row;
        if (!classify_is_machine(v[i].more) ||
            (i != k && (!alike(r->v[COL_vti_ml], own->v[COL_vti_ml]) || !alike(r->v[COL_ti_s], own->v[COL_ti_s]) ||
                        !alike(r->v[COL_peak_insp_flow_l_s], own->v[COL_peak_insp_flow_l_s]))))
            continue;
        double s = v[i].more->control_score;
        if (isnan(s))
            continue;
        sum += s;
        count++;
    }
    if (count == 0)
        return CONTROL_UNKNOWN;
    return sum / count + repetition(v, n, k, z) > 0 ? CONTROL_VOLUME : CONTROL_PRESSURE;
}

/* Inspiration, from the onset that scatters least. */
static double lasted_s(const struct classify_item *x)
{
    return (double)(x->row->t1_ns - x->more->steady_ns) * 1e-9;
}

/* Ended by time, or by what was left of flow? Of the neighbours, how many end at the same time after the onset, against how
 * many end at the same share of peak flow: the same in seconds, by the slope at which flow falls. NAN: too few neighbours. */
static double ends_by_time(const struct classify_item *v, int n, int k, double rate_hz)
{
    static const double widths_s[] = {0.012, 0.025};
    const struct breath_more *own = v[k].more;
    double fall = larger(fabs(own->end_slope), SLOPE_LEAST), own_s = lasted_s(&v[k]), score = 0, own_peak = v[k].row->v[COL_peak_insp_flow_l_s];
    int all = 0, shares = 0, by_time[2] = {0}, by_share[2] = {0}, by_flow[2] = {0};
    for (int i = 0; i < n; i++) {
        if (i == k || !classify_is_machine(v[i].more) || isnan(v[i].row->v[COL_ti_s]))
            continue;
        double off_s = fabs(lasted_s(&v[i]) - own_s), off_share = fabs(v[i].more->end_share - own->end_share);
        /* Some machines wait for a flow, not for a share of the peak: in own peaks. */
        double off_flow = fabs(v[i].more->end_share * v[i].row->v[COL_peak_insp_flow_l_s] / own_peak - own->end_share);
        all++;
        shares += !isnan(off_share);
        for (int w = 0; w < 2; w++) {
            double near_s = larger(widths_s[w], 1.1 / rate_hz);
            by_time[w] += off_s < near_s;
            by_share[w] += off_share < near_s * fall;
            by_flow[w] += off_flow < near_s * fall;
        }
    }
    if (all < ENDS_LEAST || isnan(own_s))
        return (double)NAN;
    if (shares < ENDS_LEAST)
        return TIME_SURE;
    for (int w = 0; w < 2; w++)
        score += 0.5 * log(((double)by_time[w] / all + ENDS_EASE) / ((double)(by_share[w] > by_flow[w] ? by_share[w] : by_flow[w]) / shares + ENDS_EASE));
    return score;
}

/* Breaths that the machine gives alike: as high above PEEP, as long. */
static bool given_alike(const struct classify_item *a, const struct classify_item *b)
{
    return same_push(a->more, b->more) && fabs(lasted_s(a) - lasted_s(b)) < LASTS_ALIKE * lasted_s(b);
}

enum cycled { CYCLED_UNCLEAR, CYCLED_TIME, CYCLED_FLOW };

/* The machine ends breaths that it gives alike by one rule: the mean over those up to this one. What goes on when flow has
 * run out, or while it rises, was not ended by flow. */
static enum cycled cycled_by(const struct classify_item *v, int k, double *by_time)
{
    *by_time = (double)NAN;
    const struct breath_more *own = v[k].more;
    double sum = 0;
    int count = 0;
    if ((own->end_share < RUN_OUT && own->end_slope > -FALLS) || own->end_slope > RISES)
        return CYCLED_TIME;
    for (int i = 0; i <= k; i++) {
        if (isnan(v[i].more->ends_by_time) || !classify_is_machine(v[i].more) || !given_alike(&v[i], &v[k]))
            continue;
        sum += v[i].more->ends_by_time;
        count++;
    }
    if (count == 0)
        return CYCLED_UNCLEAR;
    *by_time = sum / count;
    return *by_time > TIME_SURE ? CYCLED_TIME : isnan(own->end_share) ? CYCLED_UNCLEAR : CYCLED_FLOW;
}

/* Logarithm of the odds that the patient began it: gas drawn and pressure pulled down just before, a breath that flow ended
 * (a clock's is ended by time), against an interval that recurs as a clock's. Weights: logistic regression on simulated
 * patients, rounded; left out of it by nines, they are right in 94.5 %. */
static double patient_odds(const struct classify_item *v, int n, int k, double flow_scale, double rate_hz,
                           const struct classify_noise *z, bool by_flow, enum effort_sign sign)
{
    double d[2 * CLASSIFY_REACH + 1] = {0};
    const struct breath_more *own = v[k].more;
    int m = intervals(v, n, k, d);
    struct recurrence any = recurs(d, m, interval_before(v, k), rate_hz);
    m = waits(v, n, k, d);
    struct recurrence push = recurs(d, m, since_same_push(v, k), rate_hz);
    static const double of_effort[] = {[EFFORT_UNKNOWN] = 0, [EFFORT_BEGAN_IT] = 1.5, [EFFORT_NOT_BEFORE] = -1.0};
    double drew = tanh(own->q_before_l_s / (DRAW_SDS * larger(z->q_sd30, DRAW_LEAST * flow_scale)));
    double pulled = tanh(-own->p_before_cmh2o / (DRAW_SDS * larger(z->p_sd30, PULL_LEAST)));
    double clock = larger(0, larger(any.share, push.share) - CLOCK_SHARE);
    double denser = smaller(larger(any.denser, push.denser), DENSER_MOST);
    return 2.7 * drew + 3.0 * pulled + 2.0 * by_flow + 4.0 * own->drawn - 6.0 * clock - 0.85 * denser + push.later - 0.9 + of_effort[sign];
}

void classify_breath(const struct classify_item *v, int n, int k, double flow_scale, double rate_hz,
                     const struct noise *z, double heart_l_s, enum effort_sign sign, struct breath_row *row)
{
    struct breath_more *own = v[k].more;
    if (!classify_is_machine(own)) {
        row->control = CONTROL_NONE;
        row->initiation = INIT_PATIENT;
        row->kind = KIND_UNASSISTED;
        return;
    }
    double root = sqrt(larger(1, 0.03 * rate_hz));
    struct classify_noise of30 = {.q_sd30 = z->q_sd_l_s / root, .p_sd30 = z->p_sd_cmh2o / root,
                                  .heart_l_s = heart_l_s};
    row->control = control_of(v, n, k, &of30);
    own->ends_by_time = ends_by_time(v, n, k, rate_hz);
    double by_time;
    enum cycled cycled = cycled_by(v, k, &by_time);
    if (cycled == CYCLED_FLOW && by_time < FLOW_SURE) /* who controls flow does not wait for it to fall */
        row->control = CONTROL_PRESSURE;
    if (row->control != CONTROL_PRESSURE)
        cycled = CYCLED_TIME;
    double odds = patient_odds(v, n, k, flow_scale, rate_hz, &of30, cycled == CYCLED_FLOW, sign);
    row->initiation = odds > ODDS_SURE ? INIT_PATIENT : odds < -ODDS_SURE ? INIT_MACHINE : INIT_UNKNOWN;
    if (row->initiation == INIT_MACHINE)
        row->kind = KIND_MANDATORY;
    else if (row->initiation == INIT_UNKNOWN || row->control == CONTROL_UNKNOWN)
        row->kind = KIND_UNKNOWN;
    else if (cycled == CYCLED_TIME)
        row->kind = KIND_ASSISTED;
    else
        row->kind = KIND_SUPPORTED;
}
