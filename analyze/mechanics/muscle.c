#include "analyze/mechanics/muscle.h"

#include "analyze/breath/extreme.h"

#include <math.h>

#define REST_S      0.12 /* before the effort */
#define REST_GAP_S  0.02
#define AFTER_S     0.15
#define AFTER_TO_S  0.35
#define BEFORE_S    0.33
#define BEFORE_TO_S 0.23
#define PUSH_S      0.15
#define TURN_S      0.15 /* the expiratory side opens: a step of flow times an error of R */
#define FALL_S      0.3
#define LATE_NS     (NS_PER_S / 20)
#define RELAX_NS    (NS_PER_S / 8) /* after the neural end; its end over its base is no end where the base is a push */

static int place(const struct effort_curve *c, int64_t t_ns)
{
    return (int)floor((double)(t_ns - c->from_ns) * 1e-9 / c->step_s + 0.5);
}

static int steps_of(const struct effort_curve *c, double seconds)
{
    int n = (int)floor(seconds * c->pace / c->step_s + 0.5);
    return n < 1 ? 1 : n;
}

/* Means of P, volume and resistive pressure over points [a, b). */
struct stretch_mean {
    double p, v, rq;
    bool there;
};

static struct stretch_mean mean_of(const struct muscle_in *in, int a, int b)
{
    const struct effort_curve *c = in->curve;
    const struct mechanics *m = in->lim->m;
    struct stretch_mean out = {.there = a >= 0 && b <= c->n && b > a};
    for (int k = a; out.there && k < b; k++) {
        out.p += c->p[k] / (b - a);
        out.v += c->v[k] / (b - a);
        out.rq += (c->q[k] > 0 ? m->ri_cmh2o_s_l : m->re_cmh2o_s_l) * c->q[k] / (b - a);
    }
    return out;
}

static double sd_between(const struct muscle_in *in, const struct stretch_mean *x, const struct stretch_mean *y)
{
    const struct mechanics *m = in->lim->m;
    double se = (x->v - y->v) * m->e_cmh2o_l * m->sd_ln_e, sr = (x->rq - y->rq) * m->sd_ln_r, slow = m->sd_ln_e * (x->p - y->p);
    return sqrt(se * se + sr * sr + slow * slow + m->misfit_cmh2o * m->misfit_cmh2o + 0.09 * in->lim->heart_cmh2o * in->lim->heart_cmh2o);
}

/* The effort under way when the inflation began. */
static const struct effort *own_effort(const struct muscle_in *in)
{
    for (int i = 0; i < in->n; i++)
        if (effort_under_way(&in->efforts[i], in->t0_ns, LATE_NS, 0))
            return &in->efforts[i];
    return NULL;
}

static void inspiration(const struct muscle_in *in, struct muscle *out)
{
    const struct effort_curve *c = in->curve;
    const struct effort *own = own_effort(in);
    int from = place(c, own && own->start_ns < in->t0_ns ? own->start_ns : in->t0_ns) - steps_of(c, REST_GAP_S);
    if (!own)
        from -= steps_of(c, 0.05); /* the bridge over the valve's step */
    int t0 = place(c, in->t0_ns), len = place(c, in->t1_ns) - t0;
    struct stretch_mean rest = mean_of(in, from - steps_of(c, REST_S), from);
    struct stretch_mean mid = mean_of(in, t0 + len / 4, t0 + len - len / 4);
    if (rest.there && mid.there && len >= 8) {
        out->mid_cmh2o = mid.p - rest.p;
        out->mid_sd = sd_between(in, &mid, &rest);
    }
    struct stretch_mean after = mean_of(in, t0 + steps_of(c, AFTER_S), t0 + steps_of(c, AFTER_TO_S));
    struct stretch_mean before = mean_of(in, t0 - steps_of(c, BEFORE_S), t0 - steps_of(c, BEFORE_TO_S));
    if (after.there && before.there && len >= steps_of(c, AFTER_TO_S)) {
        out->after_cmh2o = after.p - before.p;
        out->after_sd = sd_between(in, &after, &before);
    }
}

/* Where the muscles have let go of what they did in the inspiration; at least the valve's step away from its end. */
static int let_go(const struct muscle_in *in)
{
    int64_t from_ns = in->t1_ns + (int64_t)(TURN_S * in->curve->pace * 1e9);
    for (int i = 0; i < in->n; i++) {
        const struct effort *e = &in->efforts[i];
        if (e->start_ns < in->t1_ns && e->neural_end_ns + RELAX_NS > from_ns && e->neural_end_ns < in->t2_ns)
            from_ns = e->neural_end_ns + RELAX_NS;
    }
    return place(in->curve, from_ns);
}

/* A push begins with a fall within 0.3 s and stays for a while. An effort falls too, but only to where it rose from; a wrong
 * elastance makes the curve drift, but slowly. */
static void expiration(const struct muscle_in *in, struct muscle *out)
{
    const struct effort_curve *c = in->curve;
    int a = let_go(in), b = place(c, in->t2_ns) - steps_of(c, 0.06), w = steps_of(c, PUSH_S), fall = steps_of(c, FALL_S);
    if (a < 0 || b > c->n || b - a < w + fall)
        return;
    double start = 0, after = 0, deepest = -INFINITY;
    int at = a;
    for (int k = a; k < a + w; k++)
        start += c->p[k] / w;
    for (int k = a + fall; k < a + fall + w; k++)
        after += c->p[k] / w;
    for (int k = a; k + fall + w <= b; k++) {
        double deep = smaller(start, c->p[k]) - after;
        if (deep > deepest)
            deepest = deep, at = k;
        if (k + fall + w < b)
            after += (c->p[k + fall + w] - c->p[k + fall]) / w;
    }
    out->push_cmh2o = deepest;
    double half = smaller(start, c->p[at]) - 0.5 * deepest;
    int low = at, high;
    while (low < at + fall && c->p[low] > half)
        low++;
    for (high = low; high < b && c->p[high] <= half; high++) {
    }
    out->push_s = (high - low) * c->step_s;
    out->push_ns = c->from_ns + (int64_t)(low * c->step_s * 1e9);
}

void muscle_read(const struct muscle_in *in, struct muscle *out)
{
    const double none = (double)NAN;
    *out = (struct muscle){.read = true, .quality = in->lim->m->quality, .source = in->lim->m->source,
                           .heart_cmh2o = in->lim->heart_cmh2o, .mid_cmh2o = none, .mid_sd = none, .after_cmh2o = none,
                           .after_sd = none, .push_cmh2o = none, .push_s = none};
    inspiration(in, out);
    expiration(in, out);
}
