#include "analyze/mechanics/effort.h"

#include "analyze/breath/extreme.h"

#include "analyze/breath/hinge.h"

#include <math.h>

#define GRID_S        0.020
#define HALF          2 /* steps of the grid: a point is a mean of 0.08 s; infant 0.04 s */
#define BACK_S        2.2
#define ON_S          1.5
#define CLIMBED       0.35
#define LEAST_CMH2O   1.5
#define LEAST_ROUGH   2.2 /* where constants are not fitted ones */
#define LEAST_OWED    1.0
#define SD_OWED       0.7
#define HEARTS_OWED   1.0
/* The size of an effort is known worse than that there is one: a base line cuts off what is slow in it, the machine's answer dents it,
 * no lung is the model. */
#define FORM          0.2
#define FORM_CMH2O    0.5
#define PRESENT_CMH2O 2.5
#define HEARTS        1.5
#define SD_LEAST      2.0
#define SD_PRESENT    3.0
#define BRIDGE_BEFORE_S 0.05
#define BRIDGE_AFTER_S  0.12
#define JOIN_S        0.3
#define INSIDE_S      1.0
#define HUMPS_S       0.25
#define SLOPE_STEPS   3
#define STEEP         0.2
#define SLOW_MOST     0.35
#define SLOW_LEAST_S  0.1
#define OPENED_S      0.25
#define HUMP_S        0.25
#define BEAT_S        1.0 /* of a slow heart; an infant's is twice as fast */
#define HUMPS_VALLEY  0.25
#define HUMPS_ALIKE   2.5
#define KNEE_S        0.75
#define KNEE_GUARD_S  0.18
#define WIDE_S        2.5
#define NARROW_S      0.2

/* Integrals of flow (lag_s later) and pressure on the grid. */
static int read_grid(const struct ring *r, uint64_t from, uint64_t to, double lag_s, struct effort_curve *out)
{
    uint64_t stride = ring_count(r, GRID_S);
    double late = lag_s > 0 ? lag_s * r->rate_hz : 0, share = late - floor(late), dt = share / r->rate_hz;
    uint64_t shift = (uint64_t)floor(late), last = r->end > shift + 1 ? r->end - shift - 1 : 0;
    int n = 0;
    out->step_s = (double)stride / r->rate_hz;
    out->from_ns = ring_at(r, from)->t_ns;
    for (uint64_t i = from; i <= to && i < last && n < EFFORT_POINTS; i += stride, n++) {
        const struct ring_slot *j = ring_at(r, i + shift);
        out->q[n] = j->vol_l + dt * j->q;
        out->p[n] = ring_at(r, i)->p_s;
    }
    return n;
}

void effort_curve(const struct ring *r, uint64_t from, uint64_t to, const struct mechanics *m, double lag_s,
                  const struct leak_law_now *leak, double pace, struct effort_curve *out)
{
    int half = pace < 1 ? 1 : HALF, n = read_grid(r, from, to, lag_s, out);
    out->pace = pace;
    out->n = n > 2 * half ? n - 2 * half : 0;
    out->from_ns += (int64_t)(half * out->step_s * 1e9);
    double lost = 0, per_s = 1 / (2 * half * out->step_s);
    for (int k = 0; k < out->n; k++) { /* in place: point k is made of k to k + 2 half */
        double p = (out->p[k + 2 * half] - out->p[k]) * per_s, leaks = leak_flow_l_s(leak, p);
        double q = (out->q[k + 2 * half] - out->q[k]) * per_s - leaks;
        lost += leaks * out->step_s;
        out->v[k] = out->q[k + half] - lost;
        out->q[k] = q;
        out->p[k] = m->e_cmh2o_l * out->v[k] + ((q > 0 ? m->ri_cmh2o_s_l : m->re_cmh2o_s_l) + m->k2 * fabs(q)) * q - p;
    }
}

void effort_bridge(struct effort_curve *c, const int64_t *at_ns, int n)
{
    for (int i = 0; i < n; i++) {
        double at = (double)(at_ns[i] - c->from_ns) * 1e-9;
        int a = (int)floor((at - BRIDGE_BEFORE_S * c->pace) / c->step_s), b = (int)ceil((at + BRIDGE_AFTER_S * c->pace) / c->step_s);
        if (a < 0 || b >= c->n)
            continue;
        for (int k = a + 1; k < b; k++)
            c->p[k] = c->p[a] + (c->p[b] - c->p[a]) * (k - a) / (b - a);
    }
}

double effort_quiet(const struct effort_curve *c, int64_t from_ns, int64_t to_ns)
{
    int w = (int)(BEAT_S * c->pace / c->step_s), a = (int)((double)(from_ns - c->from_ns) * 1e-9 / c->step_s);
    int end = (int)((double)(to_ns - c->from_ns) * 1e-9 / c->step_s);
    const int step = w / 4 > 0 ? w / 4 : 1;
    double least = (double)NAN, n = w, mid = 0.5 * (n - 1), tt = n * (n * n - 1) / 12;
    for (a = a < 0 ? 0 : a; a + w <= end && w > 2 && a + w <= c->n; a += step) {
        double s = 0, st = 0, low = INFINITY, high = -INFINITY;
        for (int k = 0; k < w; k++)
            s += c->p[a + k], st += (k - mid) * c->p[a + k];
        for (int k = 0; k < w; k++) {
            double over = c->p[a + k] - s / n - st / tt * (k - mid);
            low = smaller(low, over), high = larger(high, over);
        }
        if (!(high - low > least))
            least = high - low;
    }
    return least;
}

/* The lowest point on one side of the maximum: the search ends where the curve has climbed again by a third of the height, and
 * not for a hump's time. */
static int foot(const struct effort_curve *c, int top, int way, double reach_s)
{
    int low = top, most = (int)(reach_s * c->pace / c->step_s), hump = (int)(HUMP_S * c->pace / c->step_s);
    for (int k = top + way, n = 0; k >= 0 && k < c->n && n < most; k += way, n++) {
        if (c->p[k] > c->p[top])
            break; /* a higher one: this is its shoulder */
        if (c->p[k] < c->p[low])
            low = k;
        else if ((k - low) * way > hump && c->p[k] - c->p[low] > CLIMBED * (c->p[top] - c->p[low]) && c->p[top] - c->p[low] > 0.5)
            break;
    }
    return low;
}

static double line_at(const struct effort_curve *c, int a, int b, double k)
{
    return b > a ? c->p[a] + (c->p[b] - c->p[a]) * (k - a) / (b - a) : c->p[a];
}

/* Grid place at which the height over the base line crosses `level`, from the top in one direction. */
static double crossing(const struct effort_curve *c, int a, int b, int top, int way, double level)
{
    int end = way < 0 ? a : b;
    double last = c->p[top] - line_at(c, a, b, top);
    for (int k = top + way; way < 0 ? k >= end : k <= end; k += way) {
        double height = c->p[k] - line_at(c, a, b, k);
        if (height <= level) {
            double share = last > height ? (last - level) / (last - height) : 0;
            return k - way + way * share;
        }
        last = height;
    }
    return end;
}

/* How far the prominence may be off: by E over the volume and by R over the flow that lie between the top and the line. */
static double uncertainty(const struct effort_curve *c, const struct effort_limits *lim, int a, int b, int top)
{
    const struct mechanics *m = lim->m;
    double share = b > a ? (double)(top - a) / (b - a) : 0;
    double dv = c->v[top] - (c->v[a] + share * (c->v[b] - c->v[a]));
    double r_a = c->q[a] > 0 ? m->ri_cmh2o_s_l : m->re_cmh2o_s_l, r_b = c->q[b] > 0 ? m->ri_cmh2o_s_l : m->re_cmh2o_s_l;
    double r_t = c->q[top] > 0 ? m->ri_cmh2o_s_l : m->re_cmh2o_s_l;
    double dr = r_t * c->q[top] - (r_a * c->q[a] + share * (r_b * c->q[b] - r_a * c->q[a]));
    double se = dv * m->e_cmh2o_l * m->sd_ln_e, sr = dr * m->sd_ln_r;
    double slow = m->sd_ln_e * (c->p[top] - line_at(c, a, b, top)); /* what is scaled wrong as a whole */
    return sqrt(se * se + sr * sr + slow * slow + m->misfit_cmh2o * m->misfit_cmh2o + 2 * lim->noise_cmh2o * lim->noise_cmh2o + 0.09 * lim->heart_cmh2o * lim->heart_cmh2o);
}

static int64_t time_at(const struct effort_curve *c, double k)
{
    return c->from_ns + (int64_t)(k * c->step_s * 1e9);
}

/* An effort that the machine answered begins before it: there a broken line is laid over the curve, whose first part takes the
 * slow error of wrong constants. `start`: what the foot gave. */
static double knee_before(const struct effort_curve *c, const struct effort_limits *lim, int top, double start)
{
    for (int i = 0; i < 2; i++) {
        if (lim->opens_ns[i] < 0)
            continue;
        double at = (double)(lim->opens_ns[i] - c->from_ns) * 1e-9, low = at - KNEE_S * c->pace;
        double turned = lim->turn_ns >= 0 && i == 1 ? (double)(lim->turn_ns - c->from_ns) * 1e-9 + KNEE_GUARD_S * c->pace : 0;
        if (top * c->step_s < at - 0.05 || start * c->step_s > at + 0.05 || low < 0 || at - start * c->step_s > 1.2)
            continue;
        int a = (int)(larger(low, turned) / c->step_s), n = (int)((at - 0.02) / c->step_s) - a + 1;
        struct hinge h;
        if (n >= 8 && a + n <= c->n && hinge_fit(c->p + a, n, c->step_s, &h) && h.after > h.before && h.rise > 0)
            return a + h.at;
    }
    return start;
}

/* A slow climb before the rise is an error of the constants, or a push that ebbs away: an effort starts where it becomes steep. */
static double steep_from(const struct effort_curve *c, const struct effort_limits *lim, int top, double start)
{
    int from = (int)ceil(start), at = from;
    double steepest = 0;
    if (from < 0 || top - from < 2 * SLOPE_STEPS)
        return start;
    for (int k = from; k + SLOPE_STEPS <= top; k++)
        if (c->p[k + SLOPE_STEPS] - c->p[k] > steepest)
            steepest = c->p[k + SLOPE_STEPS] - c->p[k], at = k;
    while (at > from && c->p[at - 1 + SLOPE_STEPS] - c->p[at - 1] > STEEP * steepest)
        at--;
    bool most_after = c->p[at] - c->p[from] < SLOW_MOST * (c->p[top] - c->p[from]);
    if (!most_after || (at - start) * c->step_s < SLOW_LEAST_S * c->pace)
        return start;
    for (int i = 0; i < 2; i++) { /* what the machine gives at once makes the rise steepest after it */
        double open = lim->opens_ns[i] < 0 ? -INFINITY : (double)(lim->opens_ns[i] - c->from_ns) * 1e-9 / c->step_s;
        if (start < open && at + 1 > open && (at - open) * c->step_s < OPENED_S)
            return larger(start, open - 1);
    }
    return at + 1;
}

static double least_of(const struct effort_limits *lim, bool owed)
{
    double least = owed && lim->m->source != SOURCE_FIT ? larger(LEAST_OWED, HEARTS_OWED * lim->heart_cmh2o)
                : larger(lim->m->source == SOURCE_FIT ? LEAST_CMH2O : LEAST_ROUGH, HEARTS * lim->heart_cmh2o);
    return larger(least, lim->least_cmh2o);
}

static bool is_owed(const struct effort_limits *lim, int64_t at_ns)
{
    return (at_ns >= lim->owed_from_ns[0] && at_ns <= lim->owed_to_ns[0]) || (at_ns >= lim->owed_from_ns[1] && at_ns <= lim->owed_to_ns[1]);
}

/* An effort whose rise begins at point a and whose fall ends at b. */
static bool effort_between(const struct effort_curve *c, const struct effort_limits *lim, int a, int top, int b, struct effort *e)
{
    double height = c->p[top] - line_at(c, a, b, top);
    bool owed = is_owed(lim, time_at(c, top));
    if (height < least_of(lim, owed))
        return false;
    double sd = uncertainty(c, lim, a, b, top);
    double half_on = crossing(c, a, b, top, -1, 0.5 * height), half_off = crossing(c, a, b, top, 1, 0.5 * height);
    double width = (half_off - half_on) * c->step_s;
    if ((lim->m->quality > MECHANICS_POOR && height < (owed ? SD_OWED : SD_LEAST) * sd) || width < 0.5 * NARROW_S * c->pace || width > WIDE_S)
        return false;
    double tenth = crossing(c, a, b, top, -1, 0.1 * height), third = crossing(c, a, b, top, -1, 0.3 * height);
    double knee = tenth - 0.5 * (third - tenth); /* walked back along the slope there */
    knee = steep_from(c, lim, top, knee_before(c, lim, top, larger(knee, a)));
    *e = (struct effort){.start_ns = time_at(c, knee), .neural_end_ns = time_at(c, half_off),
                         .end_ns = time_at(c, crossing(c, a, b, top, 1, 0.1 * height)), .peak_ns = time_at(c, top),
                         .peak_cmh2o = height, .rise_cmh2o = c->p[top] - c->p[a],
                         .sd_cmh2o = sqrt(sd * sd + FORM * FORM * height * height + FORM_CMH2O * FORM_CMH2O), .quality = lim->m->quality, .source = lim->m->source};
    bool sure = height >= larger(PRESENT_CMH2O, SD_PRESENT * sd) && height >= 2 * lim->heart_cmh2o &&
                lim->m->quality >= MECHANICS_FAIR;
    e->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    return true;
}

/* Where it stands on the curve, until it is known that nothing joins it. */
struct place {
    int a, top, b;
};

/* Nobody begins anew within a quarter of a second of an effort's end, with the muscles not yet at rest: two humps of one effort. */
static bool humps(const struct effort_curve *c, const struct effort_limits *lim, const struct place *x, const struct place *y,
                  const struct effort *a, const struct effort *b)
{
    for (int i = 0; i < 2; i++) /* that is another question: same() */
        if (lim->opens_ns[i] > a->peak_ns && lim->opens_ns[i] < b->peak_ns)
            return false;
    if (b->start_ns - a->neural_end_ns > (int64_t)(HUMPS_S * c->pace * 1e9))
        return false;
    int low = x->top;
    for (int k = x->top; k <= y->top; k++)
        if (c->p[k] < c->p[low])
            low = k;
    double first = c->p[x->top] - line_at(c, x->a, y->b, x->top), second = c->p[y->top] - line_at(c, x->a, y->b, y->top);
    return larger(first, second) < HUMPS_ALIKE * smaller(first, second) &&
           c->p[low] - line_at(c, x->a, y->b, low) > HUMPS_VALLEY * smaller(first, second);
}

/* The effort that opened the valve goes on in the inspiration: gas that rushes in through a resistance taken too low only dents
 * it. */
static bool same(const struct effort *a, const struct effort *b, const struct effort_limits *lim)
{
    if (b->start_ns - a->neural_end_ns > (int64_t)(JOIN_S * 1e9))
        return false;
    for (int i = 0; i < 2; i++) {
        int64_t open = lim->opens_ns[i];
        if (open >= 0 && open > a->start_ns - NS_PER_S / 20 && open < b->peak_ns && b->peak_ns - open < (int64_t)(INSIDE_S * 1e9) &&
            a->peak_ns < open + NS_PER_S / 4)
            return true;
    }
    return false;
}

static int index_of(const struct effort_curve *c, int64_t at_ns)
{
    int k = (int)((double)(at_ns - c->from_ns) * 1e-9 / c->step_s + 0.5);
    return k < 0 ? 0 : k < c->n ? k : c->n - 1;
}

/* Two parts of one effort: its height is over the line from the first one's start to the last one's end, not over the dent. */
static struct effort joined_over(const struct effort_curve *c, const struct effort *first, const struct effort *last)
{
    struct effort whole = last->peak_cmh2o > first->peak_cmh2o ? *last : *first;
    int a = index_of(c, first->start_ns), b = index_of(c, last->end_ns), top = index_of(c, whole.peak_ns);
    double height = c->p[top] - line_at(c, a, b, top);
    if (height > whole.peak_cmh2o) {
        whole.sd_cmh2o *= height / whole.peak_cmh2o;
        whole.peak_cmh2o = height;
    }
    whole.start_ns = first->start_ns;
    whole.neural_end_ns = last->neural_end_ns;
    whole.end_ns = last->end_ns;
    return whole;
}

int effort_find(const struct effort_curve *c, const struct effort_limits *lim, struct effort out[EFFORTS_MOST])
{
    int n = 0;
    struct place at_place[EFFORTS_MOST];
    double lowest = INFINITY, least = smaller(least_of(lim, false), least_of(lim, true));
    for (int k = 0; k < c->n; k++)
        lowest = smaller(lowest, c->p[k]);
    for (int k = 1; k + 1 < c->n && n < EFFORTS_MOST; k++) {
        /* No line lies under the lowest point: most of a passive breath is passed over by that alone. */
        if (c->p[k] - lowest < least || !(c->p[k] >= c->p[k - 1] && c->p[k] > c->p[k + 1]))
            continue;
        int64_t at = time_at(c, k);
        if (at < lim->from_ns || at >= lim->to_ns)
            continue;
        struct place *here = &at_place[n];
        *here = (struct place){.a = foot(c, k, -1, BACK_S), .top = k, .b = foot(c, k, 1, ON_S)};
        if (!effort_between(c, lim, here->a, k, here->b, &out[n]))
            continue;
        if (n > 0 && humps(c, lim, &at_place[n - 1], here, &out[n - 1], &out[n])) {
            struct place whole = {.a = at_place[n - 1].a, .top = c->p[k] > c->p[at_place[n - 1].top] ? k : at_place[n - 1].top, .b = here->b};
            struct effort joined;
            if (effort_between(c, lim, whole.a, whole.top, whole.b, &joined)) {
                joined.start_ns = out[n - 1].start_ns;
                out[n - 1] = joined;
                at_place[n - 1] = whole;
                continue;
            }
        }
        if (n > 0 && same(&out[n - 1], &out[n], lim)) {
            out[n - 1] = joined_over(c, &out[n - 1], &out[n]);
            continue;
        }
        n++;
    }
    return n;
}
