#include "analyze/manoeuvres/holds.h"

#include "analyze/breath/order.h"

#include <string.h>

#define LEAST_S        0.7
#define LEAST_SIGN_S   0.9
#define LEAST_MOVED_S  1.3
#define RATIO          1.6
#define LONGER_S       0.3
#define INFLATION_S    0.7
#define CLOCK_INFL_S   0.4 /* the same by a clock, whose inflations are alike */
#define INSP_MOST_S    8.2 /* longer: a sustained inflation */
#define EXP_MOST_S     12.0 /* longer: apnoea, or a search for the greatest effort */
#define LATE_S         0.5
#define CLOCK_LATE_S   0.8
#define CLOCK_SPREAD   0.01
#define CLOCK_OFF_S    0.03 /* as much is what an onset is read to */
#define REGULAR        0.05
#define MACHINE_SHARE  0.8
#define MOVED_CMH2O    1.5
#define MOVED_MORE     0.8
#define PULLED_CMH2O   5.0  /* nothing moves pressure so far without flow but muscles on shut valves */
#define RISE_CMH2O     0.5
#define RISE_NOISES    6.0
#define NOISES         8.0  /* sd: the range of some tens of means */
#define OFF_LEVEL      1.0
#define FAR_CMH2O      3.0
#define STEP_CMH2O     2.0
#define OPEN_CMH2O     1.5
#define NEAR_SHARE     0.15
#define NEAR_PEEP      1.5
#define SUDDEN         5.0 /* zero flows: a wave that runs out does not stop so */
#define FILLED         1.5
#define AFTER_MOST     5
#define BLIP_S         0.15 /* pressure that falls past the line is noisy */
#define MANY           12   /* so many of a kind: two holds among them hide no third */
#define ASKED_LATE_NS  NS_PER_S
#define BREATH_SHARE   0.4 /* of the usual volume went in before an inspiratory hold */
#define BREATHS_MOST   8
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

/* What the others of its kind near it come to: the second largest, among many the third, so that one hold (or two) does not
 * hide the next. */
struct others {
    double length_s, swing_cmh2o; /* 0: too few */
    double level_cmh2o;           /* median pressure of stretches after an inspiration; NAN: fewer than two */
};

/* The largest three, falling. */
static void rank(double v, double top[3])
{
    for (int i = 0; i < 3; i++)
        if (v > top[i]) {
            double w = top[i];
            top[i] = v;
            v = w;
        }
}

static bool near(int64_t t_ns, int64_t at_ns)
{
    return t_ns - at_ns > -BEFORE_NS && t_ns - at_ns < AFTER_NS;
}

static struct others others_of(const struct holds *h, const struct hold_stretch *s)
{
    struct others o = {.level_cmh2o = (double)NAN};
    double longest[3] = {0}, most[3] = {0}, level[HOLDS_SEEN];
    int n = 0, kind = 0;
    uint64_t first = h->n_seen > HOLDS_SEEN ? h->n_seen - HOLDS_SEEN : 0;
    for (uint64_t i = first; i < h->n_seen; i++) {
        const struct hold_stretch *k = &h->seen[i % HOLDS_SEEN];
        if (k->from_ns == s->from_ns || !near(k->from_ns, s->from_ns))
            continue;
        if (k->inspired)
            level[n++] = (double)k->p_cmh2o;
        if (k->inspired != s->inspired)
            continue;
        kind++;
        rank((double)k->length_s, longest);
        rank((double)k->swing_cmh2o, most);
    }
    o.length_s = longest[kind >= MANY ? 2 : 1];
    o.swing_cmh2o = most[kind >= MANY ? 2 : 1];
    if (n >= 2)
        o.level_cmh2o = order_median(level, n);
    return o;
}

/* The inflations near it and the expirations between them, its own apart. */
struct cycles {
    int n; /* inflations */
    double next_s, usual_s;   /* second longest and median of them; 0, NAN: none */
    double next_expired_s;    /* second longest expiration; INFINITY: fewer than three */
    double after_s;           /* median time from one to the next of the first that follow; NAN: fewer than three */
};

static void cycles_of(const struct holds *h, const struct hold_stretch *s, struct cycles *c)
{
    double top[3] = {0}, out[3] = {0}, v[HOLDS_SEEN], after[AFTER_MOST];
    int n = 0, outs = 0, n_after = 0;
    int64_t last_from = -1, last_to = -1;
    uint64_t first = h->n_raised > HOLDS_SEEN ? h->n_raised - HOLDS_SEEN : 0;
    for (uint64_t i = first; i < h->n_raised; i++) {
        int64_t from = h->raised[i % HOLDS_SEEN].from_ns, to = h->raised[i % HOLDS_SEEN].to_ns;
        if (!near(from, s->from_ns) || seconds(from, to) < BLIP_S)
            continue;
        if (last_to >= 0 && !(last_to < s->to_ns && from > s->from_ns)) {
            rank(seconds(last_to, from), out);
            outs++;
        }
        if (last_from >= s->to_ns - NS_PER_S / 5 && n_after < AFTER_MOST)
            after[n_after++] = seconds(last_from, from);
        last_from = from;
        last_to = to;
        if (from < s->to_ns && to > s->from_ns - NS_PER_S / 5)
            continue;
        v[n++] = seconds(from, to);
        rank(v[n - 1], top);
    }
    *c = (struct cycles){.n = n, .next_s = top[1], .usual_s = n > 0 ? order_median(v, n) : (double)NAN,
                         .next_expired_s = outs >= 3 ? out[1] : INFINITY,
                         .after_s = n_after >= 3 ? order_median(after, n_after) : (double)NAN};
}

/* Are the breaths a clock's? */
static bool clocked(const struct ordinary *o)
{
    return o->machine_share > MACHINE_SHARE &&
           (o->period_spread < CLOCK_SPREAD || o->period_spread * o->period_s < CLOCK_OFF_S);
}

/* Is p no pressure that his breaths come to, by more than this? */
static bool off_by(const struct hold_candidate *c, const struct others *o, double p, double by)
{
    return fabs(p - c->usual.pip_cmh2o) > by && !(fabs(p - o->level_cmh2o) <= by);
}

struct verdict {
    bool is, moved; /* pressure did while flow stood */
    bool pulled;    /* ... so far that nothing but muscles did it */
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
    double length = (double)c->as.length_s, span = c->usual.pip_cmh2o - c->usual.peep_cmh2o;
    struct cycles y;
    cycles_of(h, &c->as, &y);
    /* At a pressure that is far from all others' it need not be that much longer. */
    bool far = v->stopped && off_by(c, o, r->p_start_cmh2o, FAR_CMH2O) && off_by(c, o, r->p_mean_cmh2o, FAR_CMH2O) &&
               fabs(r->p_start_cmh2o - r->p_before_cmh2o) > STEP_CMH2O;
    far = far || (v->pulled && v->stopped);
    bool longer = length > (far ? 1 : RATIO) * o->length_s + LONGER_S;
    v->start_ns = r->from_ns;
    if (length > INSP_MOST_S || r->in_l > BREATHS_MOST * c->usual.vt_l)
        return;
    if (!v->moved && (r->in_l < BREATH_SHARE * c->usual.vt_l || r->p_mean_cmh2o < c->usual.peep_cmh2o + shut_raised_cmh2o(&c->usual)))
        return;
    /* A level that pressure comes back up to, and that is the breaths' own, is the machine's. */
    if (v->moved && r->fall_cmh2o < MOVED_CMH2O && v->own_level)
        v->moved = false;
    if (v->moved) {
        v->is = length > (v->pulled && v->stopped ? LEAST_SIGN_S : LEAST_MOVED_S);
    } else if (v->stopped) {
        v->is = longer && length > LEAST_SIGN_S;
    } else {
        /* Flow had run out: the level is the breath's own, and all that tells is how long it stays. */
        bool level = fabs(r->p_start_cmh2o - c->usual.pip_cmh2o) < fmax(OFF_LEVEL, NEAR_SHARE * span) ||
                     fabs(r->p_start_cmh2o - o->level_cmh2o) < OFF_LEVEL;
        double held = r->raised_ns >= 0 ? seconds(r->raised_ns, r->to_ns) : 0;
        v->is = longer && level && y.n >= 3 && held > y.next_s + (clocked(&c->usual) ? CLOCK_INFL_S : INFLATION_S) && (v->cut || r->q_before_l_s > -c->zero_l_s);
    }
    /* Valves shut where flow stopped at once; else where his inflations end. */
    bool dropped = fabs(r->p_start_cmh2o - r->p_before_cmh2o) > fmax(RISE_CMH2O, RISE_NOISES * c->noise_cmh2o);
    bool sudden = v->stopped || v->cut || (dropped && r->q_before_l_s > SUDDEN * c->zero_l_s);
    if (!sudden && r->raised_ns >= 0 && !isnan(y.usual_s)) {
        int64_t due = r->raised_ns + (int64_t)(y.usual_s * 1e9);
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

static void judge_expired(const struct holds *h, const struct hold_candidate *c, const struct others *o, struct verdict *v)
{
    const struct shut_run *r = &c->run;
    double length = (double)c->as.length_s, te = expired_s(c);
    v->start_ns = r->from_ns;
    if (length > EXP_MOST_S)
        return;
    int64_t due = r->lowered_ns >= 0 ? r->lowered_ns + (int64_t)(c->usual.te_s * 1e9) : r->to_ns;
    double least = v->pulled && late(c) ? LEAST_SIGN_S : LEAST_MOVED_S;
    v->is = (late(c) || v->cut || v->pulled) && length > least &&
            (v->moved || (v->stopped && length > RATIO * o->length_s + LONGER_S));
    if (!v->is && clocked(&c->usual) && te < INFINITY) { /* nothing shows but an inflation that does not come */
        struct cycles y;
        cycles_of(h, &c->as, &y);
        double over = r->p_mean_cmh2o - c->usual.peep_cmh2o;
        bool level = over < NEAR_PEEP && r->p_mean_cmh2o > OPEN_CMH2O; /* under PEEP: it leaks */
        bool goes_on = !(fabs(y.after_s - c->usual.period_s) > REGULAR * c->usual.period_s); /* at the same rate */
        bool emptied = r->in_l < c->usual.vt_l; /* what went before was an expiration */
        v->is = te > c->usual.te_s + CLOCK_LATE_S && level && goes_on && emptied &&
                (length > o->length_s + LATE_S || te > y.next_expired_s + CLOCK_LATE_S);
    }
    if (v->cut)
        return;
    /* Valves shut when the next inflation was due: by the clock, or by the effort that asked for it. */
    int64_t asked = r->moved_ns > r->from_ns ? r->moved_ns - NS_PER_S / 10 : r->to_ns;
    int64_t first = c->usual.period_spread < REGULAR && due > r->from_ns && due < asked ? due : asked;
    if (first == r->to_ns || (due > r->from_ns && due < asked - ASKED_LATE_NS))
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
    bool rises = r->p_start_cmh2o - r->p_before_cmh2o > fmax(RISE_CMH2O, RISE_NOISES * c->noise_cmh2o);
    v->cut = r->q_before_l_s < -c->zero_l_s && rises;
    double swing = (double)c->as.swing_cmh2o, level = OFF_LEVEL + c->noise_cmh2o;
    if (!c->as.inspired && !v->cut && !late(c) && swing < PULLED_CMH2O) /* the end of most expirations: nothing else is asked */
        return;
    struct others o = others_of(h, &c->as);
    bool off = off_by(c, &o, r->p_start_cmh2o, level) || off_by(c, &o, r->p_mean_cmh2o, FAR_CMH2O);
    v->own_level = fabs(r->p_mean_cmh2o - c->usual.pip_cmh2o) <= level || fabs(r->p_mean_cmh2o - o.level_cmh2o) <= level;
    v->moved = swing > fmax(MOVED_CMH2O, NOISES * c->noise_cmh2o) && swing > o.swing_cmh2o + MOVED_MORE;
    v->pulled = v->moved && swing > PULLED_CMH2O && swing > o.swing_cmh2o + PULLED_CMH2O / 2;
    /* Inward flow that stops costs pressure, outward flow that stops lets it rise to what the lung has. */
    v->stopped = off && (v->cut || (c->as.inspired && r->q_before_l_s > 2 * c->zero_l_s));
    if (c->as.inspired)
        judge_inspired(h, c, &o, v);
    else
        judge_expired(h, c, &o, v);
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
    bool stopped = r->q_before_l_s > SUDDEN * zero && r->in_l > BREATH_SHARE * usual->vt_l;
    bool filled = stopped || (r->in_l > FILLED * r->out_l && r->q_before_l_s > -zero);
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
