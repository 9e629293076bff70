#include "analyze/manoeuvres/holds.h"

#include "analyze/breath/order.h"

#include <string.h>

#define LEAST_S        0.7
#define LEAST_SIGN_S   0.9
#define LEAST_MOVED_S  1.3
#define RATIO          1.6
#define LONGER_S       0.3
#define INFLATION_S    0.7
#define INSP_MOST_S    8.0  /* longer: a sustained inflation */
#define EXP_MOST_S     12.0 /* longer: apnoea, or a search for the greatest effort */
#define LATE_S         0.5
#define CLOCK_LATE_S   0.8
#define CLOCK_SPREAD   0.01
#define REGULAR        0.05
#define MACHINE_SHARE  0.8
#define MOVED_CMH2O    1.5
#define MOVED_MORE     1.0
#define RISE_CMH2O     0.5
#define NOISES         8.0  /* sd: the range of some tens of means */
#define OFF_LEVEL      1.0
#define NEAR_SHARE     0.15
#define NEAR_PEEP      1.5
#define SUDDEN         5.0 /* zero flows: a wave that runs out does not stop so */
#define FILLED         1.5
#define BREATH_SHARE   0.4 /* of the usual volume went in before an inspiratory hold */
#define BEFORE_NS      (90 * NS_PER_S)
#define AFTER_NS       (30 * NS_PER_S)

void holds_init(struct holds *h)
{
    memset(h, 0, sizeof *h);
    shut_init(&h->shut);
}

void holds_cut(struct holds *h)
{
    shut_cut(&h->shut);
}

static double seconds(int64_t from_ns, int64_t to_ns)
{
    return (double)(to_ns - from_ns) * 1e-9;
}

/* What the others of its kind near it come to: the second largest, so that one hold does not hide the next. */
struct others {
    double length_s, swing_cmh2o; /* second largest; 0: fewer than two */
    double level_cmh2o;           /* median pressure of stretches after an inspiration; NAN: fewer than two */
};

static void second(double v, double *first, double *next)
{
    if (v > *first) {
        *next = *first;
        *first = v;
    } else if (v > *next) {
        *next = v;
    }
}

static bool near(int64_t t_ns, int64_t at_ns)
{
    return t_ns - at_ns > -BEFORE_NS && t_ns - at_ns < AFTER_NS;
}

static struct others others_of(const struct holds *h, const struct hold_stretch *s)
{
    struct others o = {.level_cmh2o = (double)NAN};
    double longest = 0, most = 0, level[HOLDS_SEEN];
    int n = 0;
    uint64_t first = h->n_seen > HOLDS_SEEN ? h->n_seen - HOLDS_SEEN : 0;
    for (uint64_t i = first; i < h->n_seen; i++) {
        const struct hold_stretch *k = &h->seen[i % HOLDS_SEEN];
        if (k->from_ns == s->from_ns || !near(k->from_ns, s->from_ns))
            continue;
        if (k->inspired)
            level[n++] = (double)k->p_cmh2o;
        if (k->inspired != s->inspired)
            continue;
        second((double)k->length_s, &longest, &o.length_s);
        second((double)k->swing_cmh2o, &most, &o.swing_cmh2o);
    }
    if (n >= 2)
        o.level_cmh2o = order_median(level, n);
    return o;
}

/* The second longest and the median of the inflations near it, its own apart. Returns how many there are. */
static int inflations(const struct holds *h, const struct hold_stretch *s, double *next, double *usual)
{
    double longest = 0, v[HOLDS_SEEN];
    int n = 0;
    *next = 0;
    uint64_t first = h->n_raised > HOLDS_SEEN ? h->n_raised - HOLDS_SEEN : 0;
    for (uint64_t i = first; i < h->n_raised; i++) {
        int64_t from = h->raised[i % HOLDS_SEEN].from_ns, to = h->raised[i % HOLDS_SEEN].to_ns;
        if (!near(from, s->from_ns) || (from < s->to_ns && to > s->from_ns - NS_PER_S / 5))
            continue;
        v[n++] = seconds(from, to);
        second(v[n - 1], &longest, next);
    }
    *usual = n > 0 ? order_median(v, n) : (double)NAN;
    return n;
}

struct verdict {
    bool is, moved; /* pressure did while flow stood */
    bool cut;       /* outward flow stopped at once, and pressure rose */
    bool stopped;   /* flow did, to a pressure that is not the breaths' own */
    bool own_level; /* on the whole pressure is what the breaths come to */
    int64_t start_ns;
};

static bool served(const struct hold_candidate *c)
{
    return c->run.base_l_s > c->zero_l_s && fabs(c->run.q_mean_l_s - c->run.base_l_s) < fabs(c->run.q_mean_l_s);
}

static void judge_inspired(const struct holds *h, const struct hold_candidate *c, const struct others *o, struct verdict *v)
{
    const struct shut_run *r = &c->run;
    double next, usual, length = (double)c->as.length_s, span = c->usual.pip_cmh2o - c->usual.peep_cmh2o;
    int n = inflations(h, &c->as, &next, &usual);
    bool longer = length > RATIO * o->length_s + LONGER_S;
    v->start_ns = r->from_ns;
    if (length > INSP_MOST_S || r->in_l < BREATH_SHARE * c->usual.vt_l)
        return;
    /* A level that pressure comes back up to, and that is the breaths' own, is the machine's. */
    if (v->moved && r->fall_cmh2o < MOVED_CMH2O && v->own_level)
        v->moved = false;
    if (v->moved) {
        v->is = length > LEAST_MOVED_S;
    } else if (v->stopped) {
        v->is = longer && length > LEAST_SIGN_S;
    } else {
        /* Flow had run out: the level is the breath's own, and all that tells is how long it stays. */
        bool level = fabs(r->p_start_cmh2o - c->usual.pip_cmh2o) < fmax(OFF_LEVEL, NEAR_SHARE * span) ||
                     fabs(r->p_start_cmh2o - o->level_cmh2o) < OFF_LEVEL;
        double held = r->raised_ns >= 0 ? seconds(r->raised_ns, r->to_ns) : 0;
        v->is = longer && level && n >= 3 && held > next + INFLATION_S && (v->cut || r->q_before_l_s > -c->zero_l_s);
    }
    /* Valves shut where flow stopped at once; else where his inflations end. */
    bool sudden = v->stopped || v->cut || r->q_before_l_s > SUDDEN * c->zero_l_s;
    if (!sudden && r->raised_ns >= 0 && !isnan(usual)) {
        int64_t due = r->raised_ns + (int64_t)(usual * 1e9);
        if (due > r->from_ns && seconds(due, r->to_ns) > LEAST_S)
            v->start_ns = due;
    }
}

static double expired_s(const struct hold_candidate *c)
{
    return c->run.lowered_ns >= 0 ? seconds(c->run.lowered_ns, c->run.to_ns) : INFINITY;
}

static bool late(const struct hold_candidate *c)
{
    return expired_s(c) > c->usual.te_s + LATE_S;
}

static void judge_expired(const struct hold_candidate *c, const struct others *o, struct verdict *v)
{
    const struct shut_run *r = &c->run;
    double length = (double)c->as.length_s, te = expired_s(c);
    v->start_ns = r->from_ns;
    if (length > EXP_MOST_S)
        return;
    int64_t due = r->lowered_ns >= 0 ? r->lowered_ns + (int64_t)(c->usual.te_s * 1e9) : r->to_ns;
    v->is = (late(c) || v->cut) && length > LEAST_MOVED_S && (v->moved || (v->stopped && length > RATIO * o->length_s + LONGER_S));
    if (!v->is) /* nothing shows but an inflation that does not come */
        v->is = c->usual.machine_share > MACHINE_SHARE && c->usual.period_spread < CLOCK_SPREAD &&
                te > c->usual.te_s + CLOCK_LATE_S && te < 3 * c->usual.te_s + 4 && length > o->length_s + LATE_S &&
                fabs(r->p_mean_cmh2o - c->usual.peep_cmh2o) < NEAR_PEEP;
    if (v->cut)
        return;
    /* Valves shut when the next inflation was due: by the clock, or by the effort that asked for it. */
    int64_t asked = r->moved_ns > r->from_ns ? r->moved_ns - NS_PER_S / 10 : r->to_ns;
    int64_t first = c->usual.period_spread < REGULAR && due > r->from_ns && due < asked ? due : asked;
    if (first == r->to_ns)
        first = due;
    if (first > r->from_ns && first < r->to_ns)
        v->start_ns = first;
}

static void judge(const struct holds *h, const struct hold_candidate *c, struct verdict *v)
{
    const struct shut_run *r = &c->run;
    *v = (struct verdict){.is = false};
    if (served(c))
        return;
    bool rises = r->p_start_cmh2o - r->p_before_cmh2o > fmax(RISE_CMH2O, NOISES / 2 * c->noise_cmh2o);
    v->cut = r->q_before_l_s < -c->zero_l_s && rises;
    if (!c->as.inspired && !v->cut && !late(c)) /* the end of most expirations: nothing else is asked */
        return;
    struct others o = others_of(h, &c->as);
    double swing = (double)c->as.swing_cmh2o, level = OFF_LEVEL + c->noise_cmh2o;
    bool off = fabs(r->p_start_cmh2o - c->usual.pip_cmh2o) > level && !(fabs(r->p_start_cmh2o - o.level_cmh2o) <= level);
    v->own_level = fabs(r->p_mean_cmh2o - c->usual.pip_cmh2o) <= level || fabs(r->p_mean_cmh2o - o.level_cmh2o) <= level;
    v->moved = swing > fmax(MOVED_CMH2O, NOISES * c->noise_cmh2o) && swing > o.swing_cmh2o + MOVED_MORE;
    /* Inward flow that stops costs pressure, outward flow that stops lets it rise to what the lung has. */
    v->stopped = off && (v->cut || (c->as.inspired && r->q_before_l_s > 2 * c->zero_l_s));
    if (c->as.inspired)
        judge_inspired(h, c, &o, v);
    else
        judge_expired(c, &o, v);
}

static void note_inflation(struct holds *h, int64_t lowered_before_ns)
{
    const struct shut *s = &h->shut;
    if (s->lowered_ns == lowered_before_ns || s->lowered_ns < 0)
        return;
    h->raised[h->n_raised % HOLDS_SEEN].from_ns = s->raised_ns;
    h->raised[h->n_raised % HOLDS_SEEN].to_ns = s->lowered_ns;
    h->n_raised++;
}

static void take(struct holds *h, const struct shut_ctx *x, const struct shut_run *r, const struct ordinary *usual, double zero)
{
    double line = usual->peep_cmh2o + shut_raised_cmh2o(usual);
    bool held = r->raised_ns >= 0 && r->from_ns - r->raised_ns > NS_PER_S / 4;
    bool filled = r->in_l > FILLED * r->out_l && r->q_before_l_s > -zero;
    struct hold_stretch s = {.from_ns = r->from_ns, .to_ns = r->to_ns, .raised_ns = r->raised_ns,
                             .length_s = (float)seconds(r->from_ns, r->to_ns), .p_cmh2o = (float)r->p_start_cmh2o,
                             .swing_cmh2o = (float)fmax(r->fall_cmh2o, r->rise_cmh2o),
                             .inspired = (held || filled) && r->p_high_cmh2o > line};
    h->seen[h->n_seen++ % HOLDS_SEEN] = s;
    if ((double)s.length_s < LEAST_S || usual->n < 3)
        return;
    struct hold_candidate c = {.run = *r, .as = s, .usual = *usual, .zero_l_s = zero};
    c.noise_cmh2o = shut_noise_cmh2o(x);
    struct verdict v;
    judge(h, &c, &v); /* what comes later can only speak against it */
    if (!v.is)
        return;
    hold_read(x, r, v.start_ns, s.inspired, &c.reading);
    if (h->n_cand == HOLDS_CANDS)
        memmove(&h->cand[0], &h->cand[1], (size_t)--h->n_cand * sizeof h->cand[0]);
    h->cand[h->n_cand++] = c;
}

void holds_tick(struct holds *h, const struct shut_ctx *x, const struct tick *t, uint64_t from, uint64_t to,
                const struct ordinary *usual, bool spoiled)
{
    struct shut_run r;
    int64_t lowered = h->shut.lowered_ns;
    bool over = shut_tick(&h->shut, x, t, from, to, usual, spoiled, &r);
    note_inflation(h, lowered);
    if (over && !r.spoiled)
        take(h, x, &r, usual, shut_zero_l_s(x, to - from));
}

bool holds_next(struct holds *h, int64_t now_ns, bool all, struct event *out, struct hold_reading *reading)
{
    while (h->n_cand > 0 && (all || h->cand[0].run.to_ns + AFTER_NS <= now_ns)) {
        struct hold_candidate c = h->cand[0];
        struct verdict v;
        judge(h, &c, &v);
        memmove(&h->cand[0], &h->cand[1], (size_t)--h->n_cand * sizeof h->cand[0]);
        if (!v.is)
            continue;
        bool sure = v.moved || v.stopped;
        hold_event(&c.reading, sure ? CONF_DEFINITE : CONF_POSSIBLE, out);
        *reading = c.reading;
        return true;
    }
    return false;
}
