#include "analyze/mechanics/drive.h"

#define CROSS_CMH2O   0.5
#define CROSS_SD      4.0
#define LEVEL_S       0.2
#define FLAT_CMH2O    0.25
#define GUARD_NS      (NS_PER_S / 50)
#define SHUT_L_S      0.03
#define RATE_TRIGGER  50.0
#define STEP_MOST_NS  (NS_PER_S / 25)
#define LONGEST_S     0.5  /* an effort that pulls for longer is no longer at its start */
#define EFFORT_CMH2O  1.5  /* less may be the heart's, whose beats show on shut valves */
#define EFFORT_S      0.5
#define P01_S         0.1
#define LOWEST_S      0.02

static void refuse(struct drive_p01 *out, enum reason why)
{
    *out = (struct drive_p01){.p01_cmh2o = (double)NAN, .why = why};
}

static void accept(struct drive_p01 *out, double p01)
{
    *out = (struct drive_p01){.p01_cmh2o = p01, .why = WHY_NONE};
    if (!(p01 > 0 && p01 <= DRIVE_MOST_CMH2O))
        refuse(out, WHY_out_of_range);
}

static double least_fall(double p_sd)
{
    return fmax(CROSS_CMH2O, CROSS_SD * p_sd);
}

/* Mean over the 0.2 s up to sample `to`; false: not so much of it is there, or it is not flat. */
static bool level(const struct ring *r, uint64_t floor, uint64_t to, double p_sd, double *out, enum reason *why)
{
    uint64_t n = ring_count(r, LEVEL_S), half = n / 2;
    *why = WHY_breath_short;
    if (half < 2 || to < floor + n)
        return false;
    uint64_t from = to - n;
    double early = ring_p_mean(r, from, from + half), late = ring_p_mean(r, to - half, to);
    *why = WHY_unsteady;
    *out = ring_p_mean(r, from, to);
    return fabs(early - late) <= FLAT_CMH2O + 3 * p_sd * sqrt(2.0 / (double)(int64_t)half);
}

/* Pressure at sample i by the straight line through it and the two before it: the end of a fall, not its noise's extreme. */
static double line_end(const struct ring *r, uint64_t i)
{
    return (5 * ring_at(r, i)->p + 2 * ring_at(r, i - 1)->p - ring_at(r, i - 2)->p) / 6;
}

/* Has gas moved, more than the tubing gives? 30 ms means. */
static bool moved(const struct trigger_phase_in *in, uint64_t from, double slope)
{
    const struct ring *r = in->ring;
    uint64_t k = ring_count(r, 0.03);
    double most = SHUT_L_S * in->flow_scale + in->circuit_c_l_cmh2o * slope;
    for (uint64_t i = from; i + k <= in->i0 + 1; i++)
        if (fabs(ring_q_mean(r, i, i + k) - in->q_base_l_s) >= most)
            return true;
    return false;
}

void drive_trigger(const struct trigger_phase_in *in, struct drive_p01 *out)
{
    const struct ring *r = in->ring;
    double base;
    enum reason why;
    refuse(out, WHY_rate_low);
    if (r->rate_hz < RATE_TRIGGER * 0.999)
        return;
    int64_t t0_ns = ring_at(r, in->i0)->t_ns;
    double time = (double)(t0_ns - in->start_ns) * 1e-9;
    refuse(out, WHY_no_hold);
    if (time <= 0 || time > LONGEST_S || in->i0 < in->floor + 3)
        return;
    uint64_t quiet = ring_find(r, in->floor, in->i0, in->start_ns - GUARD_NS), from = ring_find(r, in->floor, in->i0, in->start_ns);
    bool flat = level(r, in->floor, quiet + 1, in->p_sd_cmh2o, &base, &why);
    if (!flat && why == WHY_breath_short) {
        refuse(out, why);
        return;
    }
    double fall = base - line_end(r, in->i0), least = least_fall(in->p_sd_cmh2o);
    bool crossed = base - ring_at(r, in->i0)->p > least || base - ring_at(r, in->i0 - 1)->p > least;
    if (fall < least || !crossed || moved(in, from, fall / time))
        return;
    if (!flat)
        refuse(out, why);
    else if (in->i0 < from + 3)
        refuse(out, WHY_breath_short);
    else
        accept(out, P01_S * fall / time);
}

static double pressure_at(const struct ring *r, uint64_t from, uint64_t to, int64_t t_ns)
{
    uint64_t i = ring_find(r, from, to, t_ns);
    const struct ring_slot *a = ring_at(r, i), *b = ring_at(r, i + 1 < to ? i + 1 : i);
    if (b->t_ns <= a->t_ns)
        return a->p;
    return a->p + (b->p - a->p) * (double)(t_ns - a->t_ns) / (double)(b->t_ns - a->t_ns);
}

/* The first sample of two running that lie `least` below the mean of the 0.2 s before; `to`: none. */
static uint64_t below(const struct ring *r, uint64_t from, uint64_t to, double least)
{
    uint64_t n = ring_count(r, LEVEL_S);
    for (uint64_t i = from + n; i + 1 < to; i++) {
        double line = ring_p_mean(r, i - n, i) - least;
        if (ring_at(r, i)->p < line && ring_at(r, i + 1)->p < line)
            return i;
    }
    return to;
}

/* Back to where the fall begins: its own first samples don't belong to the level. */
static uint64_t foot(const struct ring *r, uint64_t from, uint64_t i, double p_sd)
{
    uint64_t n = ring_count(r, LEVEL_S);
    while (i > from + n && ring_at(r, i)->p < ring_p_mean(r, i - n, i) - 2 * p_sd)
        i--;
    return i;
}

static bool pulls(const struct ring *r, uint64_t i, uint64_t to, double base)
{
    uint64_t end = i + ring_count(r, EFFORT_S);
    return base - drive_lowest_cmh2o(r, i, (end < to ? end : to) - 1) >= EFFORT_CMH2O;
}

void drive_occluded(const struct ring *r, uint64_t from, uint64_t to, double p_sd_cmh2o, struct drive_p01 *out)
{
    double base, least = least_fall(p_sd_cmh2o);
    enum reason why;
    refuse(out, WHY_no_effort);
    uint64_t i = from, k;
    bool flat;
    for (;;) { /* past what falls and is no effort */
        i = below(r, i, to, least);
        if (i == to)
            return;
        k = foot(r, from, i, p_sd_cmh2o);
        flat = level(r, from, k, p_sd_cmh2o, &base, &why);
        if (pulls(r, i, to, base))
            break;
    }
    while (k < i && ring_at(r, k)->p >= base - least)
        k++;
    while (k + 1 < to && ring_at(r, k)->p >= base - least)
        k++;
    const struct ring_slot *a = ring_at(r, k - 1), *b = ring_at(r, k);
    double share = a->p > b->p ? (a->p - (base - least)) / (a->p - b->p) : 1;
    int64_t tc = a->t_ns + (int64_t)(fmin(1, fmax(0, share)) * (double)(b->t_ns - a->t_ns)), end = tc + (int64_t)(P01_S * 1e9);
    if (b->t_ns - a->t_ns > STEP_MOST_NS)
        refuse(out, WHY_rate_low);
    else if (!flat)
        refuse(out, why);
    else if (ring_at(r, to - 1)->t_ns < end)
        refuse(out, WHY_breath_short);
    else
        accept(out, base - least - pressure_at(r, k - 1, to, end));
}

double drive_lowest_cmh2o(const struct ring *r, uint64_t from, uint64_t to)
{
    uint64_t n = ring_count(r, LOWEST_S);
    double low = INFINITY;
    for (uint64_t i = from; i + n <= to + 1; i++)
        low = fmin(low, ring_p_mean(r, i, i + n));
    return low;
}
