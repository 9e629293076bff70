#include "analyze/breath/classify.h"

#define RHYTHM_S          0.015
#define RHYTHM_LEAST      4
#define RHYTHM_SHARE      0.30
#define QUIET_L_S         0.02
#define EFFORT_L_S        0.018
#define ALIKE             0.10
#define CYCLE_S           0.009
#define CYCLE_RING        4.0
#define CYCLE_DENSER      5.0
#define CYCLE_SHARE       0.15

bool classify_is_machine(const struct breath_more *more)
{
    return more->machine || (more->fall && more->p_rise_cmh2o > 1.5);
}

static double interval_before(const struct classify_item *v, int k)
{
    return k > 0 && v[k - 1].row->complete ? v[k - 1].row->v[COL_ttot_s] : (double)NAN;
}

/* The interval to the onset before recurs among the neighbours, and those onsets were quiet. */
static bool keeps_time(const struct classify_item *v, int n, int k, double flow_scale, double rate_hz)
{
    double own = interval_before(v, k), same = fmax(RHYTHM_S, 1.1 / rate_hz);
    int hits = 0, quiet = 0, all = 0;
    if (isnan(own))
        return false;
    for (int i = 1; i < n; i++) {
        double d = interval_before(v, i);
        if (i == k || isnan(d))
            continue;
        all++;
        if (fabs(d - own) <= same && classify_is_machine(v[i].more)) {
            hits++;
            quiet += v[i].more->q_before_l_s < QUIET_L_S * flow_scale;
        }
    }
    if (hits < RHYTHM_LEAST || hits < RHYTHM_SHARE * all)
        return false;
    return 2 * quiet > hits; /* their median is quiet */
}

/* A machine's clock bounds the wait: the longest interval about, met more than once, is its doing. */
static bool waited_longest(const struct classify_item *v, int n, int k, double rate_hz)
{
    double own = interval_before(v, k), same = fmax(RHYTHM_S, 1.1 / rate_hz);
    int equals = 0;
    for (int i = 1; i < n && !isnan(own); i++) {
        double d = interval_before(v, i);
        if (i == k || isnan(d) || !classify_is_machine(v[i].more))
            continue;
        if (d > own + same)
            return false;
        equals += d >= own - same;
    }
    return equals > 0;
}

static bool drew_before(const struct classify_item *v, int k, double flow_scale, double rate_hz, double q_sd_l_s)
{
    const struct breath_more *m = v[k].more;
    double sd30 = q_sd_l_s / sqrt(fmax(1, 0.03 * rate_hz));
    return m->q_before_l_s > fmax(EFFORT_L_S * flow_scale, 3 * sd30) || m->departure_before ||
           m->p_before_cmh2o < -0.35;
}

static bool alike(double a, double b)
{
    return fabs(a - b) <= ALIKE * fmax(fabs(a), fabs(b));
}

static enum breath_control control_of(const struct classify_item *v, int n, int k)
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
    return sum / count > 0 ? CONTROL_VOLUME : CONTROL_PRESSURE;
}

/* Ended by time: its Ti lies in a cluster far denser than its surroundings. */
static bool time_cycled(const struct classify_item *v, int n, int k, double rate_hz)
{
    double own = v[k].row->v[COL_ti_s], near = fmax(CYCLE_S, 1.1 / rate_hz), far = CYCLE_RING * near;
    int in = 0, ring = 0, all = 0;
    for (int i = 0; i < n; i++) {
        double ti = v[i].row->v[COL_ti_s];
        if (isnan(ti) || !classify_is_machine(v[i].more))
            continue;
        all++;
        if (fabs(ti - own) <= near)
            in++;
        else if (fabs(ti - own) <= far)
            ring++;
    }
    /* Per unit of width: the ring is 3 times as wide as the cluster. */
    double around = fmax(ring / (CYCLE_RING - 1), 0.5);
    return in >= 4 && in > CYCLE_DENSER * around && in >= CYCLE_SHARE * all;
}

void classify_breath(const struct classify_item *v, int n, int k, double flow_scale, double rate_hz,
                     double q_sd_l_s, struct breath_row *row)
{
    const struct breath_more *own = v[k].more;
    if (!classify_is_machine(own)) {
        row->control = CONTROL_NONE;
        row->initiation = INIT_PATIENT;
        row->kind = KIND_UNASSISTED;
        return;
    }
    if (keeps_time(v, n, k, flow_scale, rate_hz))
        row->initiation = INIT_MACHINE;
    else if (drew_before(v, k, flow_scale, rate_hz, q_sd_l_s))
        row->initiation = INIT_PATIENT;
    else if (waited_longest(v, n, k, rate_hz))
        row->initiation = INIT_MACHINE;
    else
        row->initiation = INIT_UNKNOWN;
    row->control = control_of(v, n, k);
    if (row->initiation == INIT_MACHINE)
        row->kind = KIND_MANDATORY;
    else if (row->initiation == INIT_UNKNOWN || row->control == CONTROL_UNKNOWN)
        row->kind = KIND_UNKNOWN;
    else if (row->control == CONTROL_VOLUME || time_cycled(v, n, k, rate_hz))
        row->kind = KIND_ASSISTED;
    else
        row->kind = KIND_SUPPORTED;
}
