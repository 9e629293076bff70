#include "analyze/manoeuvres/shut.h"

#include <string.h>

#define ZERO_L_S     0.03
#define MISSES       2    /* ticks with flow that do not end it: a jolt against shut valves */
#define LEAST_TICKS  6
#define RAISED_LEAST 2.0
#define RAISED_SHARE 0.15
#define HEAD_TICKS   4    /* 0.2 s: pressure settles */
#define TAIL_TICKS   8    /* 0.4 s: the next effort pulls before a valve opens */
#define MOVED_CMH2O  0.5
#define REACH_MOST_S 8.0

void shut_init(struct shut *s)
{
    memset(s, 0, sizeof *s);
    s->raised_ns = s->lowered_ns = -1;
}

void shut_cut(struct shut *s)
{
    shut_init(s);
}

static double p_at(const struct shut *s, uint64_t i)
{
    return (double)s->tick[i % SHUT_TICKS].p;
}

/* Mean of up to three ticks from i on. */
static double p_mean(const struct shut *s, uint64_t i, uint64_t n)
{
    double sum = 0;
    for (uint64_t k = 0; k < n; k++)
        sum += p_at(s, i + k);
    return sum / (double)(int64_t)n;
}

double shut_noise_cmh2o(const struct shut_ctx *x)
{
    return x->noise->p_sd_cmh2o / sqrt((double)(int64_t)ring_count(x->ring, 3 * TICK_S));
}

static void before(const struct shut *s, struct shut_run *r)
{
    uint64_t back = s->n_from >= 4 ? 4 : s->n_from;
    if (back < 3)
        return;
    uint64_t i = s->n_from - back;
    r->q_before_l_s = 0.5 * (double)(s->tick[i % SHUT_TICKS].q + s->tick[(i + 1) % SHUT_TICKS].q);
    r->p_before_cmh2o = p_mean(s, i, 2);
}

/* What went in and out just before: within a period and a third, 8 s at most. */
static void volumes(const struct ring *r, double period_s, struct shut_run *run)
{
    double reach_s = isnan(period_s) ? REACH_MOST_S : fmin(1.3 * period_s, REACH_MOST_S);
    uint64_t step = ring_count(r, TICK_S), back = ring_count(r, reach_s), first = ring_first(r);
    double v = ring_at(r, run->from)->vol_l, low = v, high = v;
    for (uint64_t i = run->from; i >= first + step && run->from - i < back; i -= step) {
        low = fmin(low, ring_at(r, i)->vol_l);
        high = fmax(high, ring_at(r, i)->vol_l);
    }
    run->in_l = v - low;
    run->out_l = high - v;
}

/* How pressure moved while flow stood, when the run is over. */
static void moves(const struct shut *s, double noise_cmh2o, struct shut_run *r)
{
    uint64_t from = s->n_from, to = s->n_last + 1;
    double top = -INFINITY, low = INFINITY;
    uint64_t skip = to - from > 5 ? 2 : 0;
    r->p_start_cmh2o = p_mean(s, from + skip, to - from > 5 ? 3 : to - from);
    r->p_high_cmh2o = r->p_start_cmh2o;
    for (uint64_t i = from + HEAD_TICKS; i + 3 <= to; i++) {
        double p = p_mean(s, i, 3);
        bool tail = i + 3 + TAIL_TICKS > to;
        if (!tail && r->moved_ns < 0 && fabs(p - r->p_start_cmh2o) > fmax(MOVED_CMH2O, 5 * noise_cmh2o))
            r->moved_ns = r->from_ns + (int64_t)((double)(i - from) * TICK_S * 1e9);
        if (!tail)
            r->fall_cmh2o = fmax(r->fall_cmh2o, top - p);
        if (!tail)
            r->rise_cmh2o = fmax(r->rise_cmh2o, p - low);
        if (!tail)
            r->p_high_cmh2o = fmax(r->p_high_cmh2o, p);
        top = fmax(top, p);
        low = fmin(low, p);
    }
}

static bool finish(struct shut *s, const struct shut_ctx *x, double period_s, struct shut_run *out)
{
    uint64_t n = s->n_last + 1 - s->n_from;
    s->open = false;
    if (n < LEAST_TICKS || n > SHUT_TICKS - 16)
        return false;
    struct shut_run *r = &s->run;
    if (s->lowered_ns > r->lowered_ns && s->lowered_ns - r->from_ns < HEAD_TICKS * (int64_t)(TICK_S * 1e9))
        r->lowered_ns = s->lowered_ns; /* flow stops a moment before pressure is down */
    r->to = s->last_end;
    r->to_ns = s->last_end_ns;
    double sum = 0;
    for (uint64_t i = s->n_from; i <= s->n_last; i++)
        sum += p_at(s, i);
    r->p_mean_cmh2o = sum / (double)(int64_t)n;
    r->q_mean_l_s = s->q_sum / (double)(int64_t)n;
    r->base_l_s = s->base_sum / (double)(int64_t)n;
    before(s, r);
    volumes(x->ring, period_s, r);
    moves(s, shut_noise_cmh2o(x), r);
    *out = *r;
    return true;
}

static void begin(struct shut *s, uint64_t first, uint64_t n_from, int64_t t_ns)
{
    s->open = true;
    s->misses = 0;
    s->n_from = n_from;
    s->q_sum = s->base_sum = 0;
    s->run = (struct shut_run){.from_ns = t_ns, .from = first, .moved_ns = -1,
                               .raised_ns = s->raised ? s->raised_ns : -1, .lowered_ns = s->lowered_ns};
}

double shut_zero_l_s(const struct shut_ctx *x, uint64_t n)
{
    return fmax(ZERO_L_S * x->flow_scale, 3 * x->noise->q_sd_l_s / sqrt((double)(int64_t)n));
}

double shut_raised_cmh2o(const struct ordinary *o)
{
    return larger(RAISED_LEAST, RAISED_SHARE * (o->pip_cmh2o - o->peep_cmh2o));
}

static void follow_level(struct shut *s, double p, int64_t t_ns, const struct ordinary *o)
{
    double line = o->peep_cmh2o + shut_raised_cmh2o(o);
    if (isnan(line))
        return;
    if (!s->raised && p > line) {
        s->raised = true;
        s->raised_ns = t_ns;
    } else if (s->raised && p < line) {
        s->raised = false;
        s->lowered_ns = t_ns;
    }
}

bool shut_tick(struct shut *s, const struct shut_ctx *x, const struct tick *t, uint64_t from, uint64_t to,
               const struct ordinary *o, bool spoiled, struct shut_run *out)
{
    double p = t->p;
    s->tick[s->n % SHUT_TICKS].p = (float)p;
    s->tick[s->n % SHUT_TICKS].q = (float)t->q;
    s->n++;
    follow_level(s, p, t->t_ns, o);
    uint64_t judged = s->sample;
    int64_t judged_ns = s->t_ns;
    s->sample = from;
    s->t_ns = t->t_ns;
    if (s->n < 3)
        return false;
    /* The tick before the newest is judged: its slope needs both neighbours. */
    uint64_t i = s->n - 2;
    double here = p_at(s, i), flow = (double)s->tick[i % SHUT_TICKS].q, base = base_flow_at(x->base, here);
    if (s->zero_sd != x->noise->q_sd_l_s) {
        s->zero_sd = x->noise->q_sd_l_s;
        s->zero_l_s = shut_zero_l_s(x, to - from);
    }
    double gained = here - p_at(s, i - 1), gains = p - here, c = x->circuit_c_l_cmh2o / TICK_S;
    double q_most = s->zero_l_s + c * larger(0, -smaller(gained, gains)), q_least = -s->zero_l_s - c * larger(0, larger(gained, gains));
    bool still = (flow <= q_most && flow >= q_least) || (flow - base <= q_most && flow - base >= q_least);
    if (!still)
        return s->open && ++s->misses > MISSES && finish(s, x, o->period_s, out);
    if (!s->open)
        begin(s, judged, i, judged_ns);
    s->misses = 0;
    s->n_last = i;
    s->last_end = from;
    s->last_end_ns = s->t_ns;
    s->q_sum += flow;
    s->base_sum += base;
    s->run.spoiled = s->run.spoiled || spoiled;
    return false;
}
