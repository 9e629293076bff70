#include "analyze/breath/classify.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#define RHYTHM_S      0.015
#define RHYTHM_LEAST  4
#define RHYTHM_SHARE  0.15
#define RHYTHM_SURE   0.4
#define RHYTHM_MOST   0.03 /* of the interval */
#define RING          4.0
#define DENSER        4.0
#define LONGEST_SURE  3
#define EARLIER       0.05
#define EARLIER_LEAST 3
#define DRAW_SHARE    0.7
#define FINE_HZ       50.0
#define EFFORT_L_S    0.018
#define ALIKE         0.10
#define WIDTHS        3
#define CYCLE_DENSER  5.0
#define CYCLE_SHARE   0.15
#define PROFILE_LEAST 3
#define PUSH_ALIKE    0.2
#define SCALE_LEAST   0.8
#define FLOW_ALIKE    0.04
#define PRESSURE_ALIKE 0.06
#define HEART_R       10.0 /* cmH2O.s/L: what its flow makes of pressure, about */
#define REPETITION    2.0
#define RUN_OUT       0.05 /* flow cycling is set to 5 % of the peak at the least */

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

/* How densely the values lie about `own`: those within `near` against those in the ring to 4 times that. */
struct density {
    int in, all;
    double denser; /* per unit of width, in over ring */
};

static struct density density_of(const double *v, int n, double own, double near)
{
    struct density d = {0};
    int ring = 0;
    for (int i = 0; i < n; i++) {
        double off = fabs(v[i] - own);
        d.in += off <= near;
        ring += off > near && off <= RING * near;
    }
    d.all = n;
    /* The ring is 3 times as wide as the cluster. */
    d.denser = d.in / larger(ring / (RING - 1), 1);
    return d;
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

/* The interval recurs as only a clock's does: at one of three widths, for an onset in noise is found within some tens of
 * milliseconds. People vary by 3 % and more from breath to breath. */
static bool keeps_time(const double *d, int m, double own, double rate_hz, double share)
{
    static const double widths_s[] = {0.015, 0.025, 0.040};
    for (size_t i = 0; i < sizeof widths_s / sizeof *widths_s && !isnan(own); i++) {
        double near = fmax(widths_s[i], 1.1 / rate_hz);
        struct density x = density_of(d, m, own, near);
        if (near <= RHYTHM_MOST * own && x.in >= RHYTHM_LEAST && x.in >= share * x.all && x.denser >= DENSER)
            return true;
    }
    return false;
}

/* Two machine breaths of one kind: as high above PEEP. */
static bool same_push(const struct breath_more *a, const struct breath_more *b)
{
    return fabs(a->p_rise_cmh2o - b->p_rise_cmh2o) <= PUSH_ALIKE * fmax(a->p_rise_cmh2o, b->p_rise_cmh2o);
}

/* Seconds since the machine last pushed as it does in breath i, whatever was breathed in between; NAN: not among these. */
static double since_same_push(const struct classify_item *v, int i)
{
    for (int j = i - 1; j >= 0 && v[j].row->complete; j--)
        if (classify_is_machine(v[j].more) && same_push(v[i].more, v[j].more))
            return (double)(v[i].more->steady_ns - v[j].more->steady_ns) * 1e-9;
    return (double)NAN;
}

/* Does the machine push like this by a clock, with the patient's own breaths in between? */
static bool pushes_by_clock(const struct classify_item *v, int n, int k, double rate_hz)
{
    double d[2 * CLASSIFY_REACH + 1];
    int m = 0;
    for (int i = 1; i < n; i++) {
        if (i == k || !classify_is_machine(v[i].more) || !same_push(v[k].more, v[i].more))
            continue;
        double wait = since_same_push(v, i);
        if (!isnan(wait))
            d[m++] = wait;
    }
    return keeps_time(d, m, since_same_push(v, k), rate_hz, RHYTHM_SURE);
}

/* A machine's clock bounds the wait: the longest interval about, met at least `equals` more times, is its doing. */
static bool waited_longest(const double *d, int m, double own, double rate_hz, int equals)
{
    double same = fmax(RHYTHM_S, 1.1 / rate_hz);
    int met = 0;
    for (int i = 0; i < m; i++) {
        if (d[i] > own + same)
            return false;
        met += d[i] >= own - same;
    }
    return !isnan(own) && met >= equals;
}

/* The flow that fires this patient's trigger: the median just before the onsets that came clearly earlier than this one;
 * NAN where there are too few. */
static double draw_that_fires(const struct classify_item *v, int n, int k)
{
    double q[2 * CLASSIFY_REACH + 1], own = interval_before(v, k);
    int m = 0;
    for (int i = 1; i < n; i++)
        if (i != k && classify_is_machine(v[i].more) && interval_before(v, i) < own * (1 - EARLIER))
            q[m++] = v[i].more->q_before_l_s;
    return m >= EARLIER_LEAST ? order_median(q, m) : (double)NAN;
}

static bool drew_before(const struct classify_item *v, int k, double flow_scale, double sd30)
{
    const struct breath_more *m = v[k].more;
    return m->drawn || m->q_before_l_s > fmax(EFFORT_L_S * flow_scale, 3 * sd30) || m->departure_before ||
           m->p_before_cmh2o < -0.35;
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

enum cycled { CYCLED_UNCLEAR, CYCLED_TIME, CYCLED_FLOW };

/* The densest that the values lie about `own`, at any of the widths; 0: too few do. */
static double sharpest(const double *v, int n, double own, const double *widths, double least)
{
    double best = 0;
    for (int i = 0; i < WIDTHS; i++) {
        struct density d = density_of(v, n, own, fmax(widths[i], least));
        if (d.in >= 4 && d.in >= CYCLE_SHARE * d.all)
            best = fmax(best, d.denser);
    }
    return best;
}

/* Ended by time, or by what was left of flow? Whichever recurs more sharply than the other; what goes on when flow has run
 * out was not ended by flow. */
static enum cycled cycled_by(const struct classify_item *v, int n, int k, double rate_hz)
{
    static const double times_s[WIDTHS] = {0.009, 0.012, 0.015}, shares[WIDTHS] = {0.012, 0.024, 0.040};
    double ti[2 * CLASSIFY_REACH + 1], share[2 * CLASSIFY_REACH + 1], own_ti = lasted_s(&v[k]);
    double own = v[k].more->end_share, sd = v[k].more->end_share_sd;
    int n_ti = 0, n_share = 0;
    if (own < RUN_OUT - 2 * sd)
        return CYCLED_TIME;
    for (int i = 0; i < n; i++) {
        if (!classify_is_machine(v[i].more))
            continue;
        if (!isnan(v[i].row->v[COL_ti_s]))
            ti[n_ti++] = lasted_s(&v[i]);
        if (!isnan(v[i].more->end_share))
            share[n_share++] = v[i].more->end_share;
    }
    double by_time = sharpest(ti, n_ti, own_ti, times_s, 1.1 / rate_hz);
    if (isnan(own))
        return by_time > CYCLE_DENSER ? CYCLED_TIME : CYCLED_UNCLEAR;
    double by_flow = sharpest(share, n_share, own, shares, 2 * sd);
    if (by_time > CYCLE_DENSER && by_flow <= by_time)
        return CYCLED_TIME;
    return by_flow > CYCLE_DENSER ? CYCLED_FLOW : CYCLED_UNCLEAR;
}

void classify_breath(const struct classify_item *v, int n, int k, double flow_scale, double rate_hz,
                     const struct noise *z, double heart_l_s, struct breath_row *row)
{
    const struct breath_more *own = v[k].more;
    if (!classify_is_machine(own)) {
        row->control = CONTROL_NONE;
        row->initiation = INIT_PATIENT;
        row->kind = KIND_UNASSISTED;
        return;
    }
    double d[2 * CLASSIFY_REACH + 1], waited = interval_before(v, k);
    int m = intervals(v, n, k, d);
    bool fine = rate_hz >= FINE_HZ; /* else several in a coarse step say little */
    double root = sqrt(fmax(1, 0.03 * rate_hz)), fires = draw_that_fires(v, n, k);
    struct classify_noise of30 = {.q_sd30 = z->q_sd_l_s / root, .p_sd30 = z->p_sd_cmh2o / root,
                                  .heart_l_s = heart_l_s};
    bool drew_enough = fires > fmax(EFFORT_L_S * flow_scale, 4 * of30.q_sd30) && own->q_before_l_s > DRAW_SHARE * fires;
    if (keeps_time(d, m, waited, rate_hz, RHYTHM_SURE) || pushes_by_clock(v, n, k, rate_hz))
        row->initiation = INIT_MACHINE;
    else if (drew_enough)
        row->initiation = INIT_PATIENT;
    else if (keeps_time(d, m, waited, rate_hz, RHYTHM_SHARE) || (fine && waited_longest(d, m, waited, rate_hz, LONGEST_SURE)))
        row->initiation = INIT_MACHINE;
    else if (drew_before(v, k, flow_scale, of30.q_sd30))
        row->initiation = INIT_PATIENT;
    else if (waited_longest(d, m, waited, rate_hz, 1))
        row->initiation = INIT_MACHINE;
    else
        row->initiation = INIT_UNKNOWN;
    row->control = control_of(v, n, k, &of30);
    enum cycled cycled = row->control == CONTROL_PRESSURE ? cycled_by(v, n, k, rate_hz) : CYCLED_TIME;
    /* A clock's breath is ended by time: one that flow ends, the patient began. */
    if (row->initiation == INIT_UNKNOWN && cycled == CYCLED_FLOW)
        row->initiation = INIT_PATIENT;
    if (row->initiation == INIT_MACHINE)
        row->kind = KIND_MANDATORY;
    else if (row->initiation == INIT_UNKNOWN || row->control == CONTROL_UNKNOWN)
        row->kind = KIND_UNKNOWN;
    else if (cycled == CYCLED_TIME)
        row->kind = KIND_ASSISTED;
    else
        row->kind = KIND_SUPPORTED;
}
