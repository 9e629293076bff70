#include "analyze/manoeuvres/cardiac_oscillation.h"

#include "analyze/breath/extreme.h"
#include "analyze/manoeuvres/episode.h"

#include <string.h>

#define EVERY_NS     (20 * NS_PER_S)
#define STEP_S       0.04
#define FROM_SHARE   0.35 /* of expiration */
#define GUARD_S      0.2  /* before the next breath: the effort that starts it */
#define LEAST_S      0.3
#define LEAST_L_S    0.006
#define SCORE        0.5
#define GOES_ON      0.35
#define SURE         0.7
#define MISSES       4 /* looks: an unrest of 80 s makes no new episode */
#define SAME_RATE    0.12
#define SLOWLY       0.5
#define MOST_L_S     0.09 /* from peak to peak: more is no heart's */
#define SIGNAL       0.5  /* over the noise, at least */
#define LAGS         160
#define FAR_NS       (3 * NS_PER_S)
#define SHORTEST     4    /* quiet parts, at least */
#define WIDE         3    /* steps of a mean: what trembles faster is no heart */
#define SECOND       0.15
#define BEATS_APART  0.55 /* of a part, where no second beat can be compared */
#define RATE_APART   0.5  /* a part that holds less than two beats bends their period: its parabola takes some of it */
#define PART_LEAST   6    /* points of one */
#define LEAST_PAIRS  24.0
#define FIRST_SHARE  0.85 /* multiples of the period score alike: the shortest that does is it */

void cardiac_init(struct cardiac *c)
{
    memset(c, 0, sizeof *c);
    c->looked_ns = -EVERY_NS;
}

static bool tell(struct cardiac *c, struct event *out)
{
    if (!c->open || c->hits == 0)
        return false;
    *out = (struct event){.start_ns = c->start_ns, .end_ns = c->end_ns, .id = EVENT_cardiac_oscillation, .n_values = 2,
                          .confidence = c->sum_score / c->hits >= SURE && c->hits > 2 ? CONF_DEFINITE : CONF_POSSIBLE};
    out->values[0] = (struct event_value){.key = "flow_l_min", .number = 60 * c->sum_flow / c->hits, .decimals = 2};
    out->values[1] = (struct event_value){.key = "score", .number = c->sum_score / c->hits, .decimals = 2};
    if (c->rates > 0)
        out->values[out->n_values++] = (struct event_value){.key = "hr_per_min", .number = c->sum_hr / c->rates, .decimals = 0};
    return true;
}

/* A quiet part into x, less its parabola: 1, u and u2 - mean(u2) are orthogonal on an even grid. */
static void level(float *x, int n)
{
    double mid = 0.5 * (n - 1), s0 = 0, s1 = 0, s2 = 0, n1 = 0, n2 = 0, square = (n * (double)n - 1) / 12;
    for (int k = 0; k < n; k++) {
        double u = k - mid, w = u * u - square;
        s0 += (double)x[k];
        s1 += u * (double)x[k];
        s2 += w * (double)x[k];
        n1 += u * u;
        n2 += w * w;
    }
    for (int k = 0; k < n; k++) {
        double u = k - mid;
        x[k] = (float)((double)x[k] - s0 / n - s1 / n1 * u - (n2 > 0 ? s2 / n2 * (u * u - square) : 0));
    }
}

/* Quiet parts, one after another in x: where each stands on the common grid. */
struct parts {
    int n, place[CARDIAC_QUIETS], at[CARDIAC_QUIETS], len[CARDIAC_QUIETS];
};

/* What all parts have in common, counted from their start, is taken out. */
static void differ(float *x, const struct parts *p)
{
    for (int j = 0;; j++) {
        float sum = 0, there = 0;
        for (int k = 0; k < p->n; k++)
            if (j < p->len[k])
                sum += x[p->at[k] + j], there += 1;
        if (there == 0)
            return;
        for (int k = 0; k < p->n && there > 2; k++)
            if (j < p->len[k])
                x[p->at[k] + j] -= sum / there;
    }
}

/* Of a quiet part what lies outside of efforts: before the first in it, or after one that reaches into it. */
static void between_efforts(const struct ring *r, const struct cardiac_efforts *w, uint64_t *from, uint64_t *to, uint64_t guard)
{
    for (int i = w->n - 1; i >= 0 && *to > *from + guard; i--) {
        const struct effort *e = &w->effort[i];
        if (e->end_ns <= ring_at(r, *from)->t_ns) {
            if (e->end_ns < ring_at(r, *from)->t_ns - FAR_NS)
                return;
            continue;
        }
        if (e->start_ns >= ring_at(r, *to)->t_ns)
            continue;
        if (e->start_ns > ring_at(r, *from + guard)->t_ns)
            *to = ring_find(r, *from, *to, e->start_ns) - guard;
        else if (e->end_ns < ring_at(r, *to - guard)->t_ns)
            *from = ring_find(r, *from, *to, e->end_ns) + guard;
        else
            *to = *from;
    }
}

/* The quiet parts that are still kept. False: too few. */
static bool gather(struct cardiac *c, const struct ring *r, const struct cardiac_efforts *w, uint64_t step, uint64_t least, struct parts *p)
{
    const uint64_t wide = WIDE * step;
    uint64_t oldest = c->n > CARDIAC_QUIETS ? c->n - CARDIAC_QUIETS : 0, first = ring_first(r), start = 0;
    int used = 0;
    p->n = 0;
    for (uint64_t k = oldest; k < c->n; k++) {
        uint64_t from = c->quiet[k % CARDIAC_QUIETS].from, to = c->quiet[k % CARDIAC_QUIETS].to;
        if (from < first)
            continue;
        between_efforts(r, w, &from, &to, least / 3);
        if (to < from + least)
            continue;
        if (p->n == 0)
            start = from;
        uint64_t place = (from - start) / step, i = start + place * step;
        int n = 0;
        for (; i + wide <= to && used + n < CARDIAC_POINTS; i += step, n++)
            c->x[used + n] = (float)ring_q_mean(r, i, i + wide);
        if (n < PART_LEAST)
            continue;
        level(c->x + used, n);
        p->place[p->n] = (int)place;
        p->at[p->n] = used;
        p->len[p->n++] = n;
        used += n;
    }
    differ(c->x, p);
    return p->n >= SHORTEST;
}

/* Correlation at lags 0 to LAGS - 1, -1 to 1; NAN: too few pairs. Returns the mean square. */
static double correlate(const struct cardiac *c, const struct parts *p, double cor[LAGS])
{
    float sum[LAGS] = {0}, early[LAGS] = {0}, late[LAGS] = {0}, pairs[LAGS] = {0};
    for (int a = 0; a < p->n; a++)
        for (int b = a; b < p->n && p->place[b] - p->place[a] - p->len[a] < LAGS; b++)
            for (int j = 0; j < p->len[a]; j++) {
                const int lag = p->place[b] - p->place[a] - j; /* of part b's first point */
                const float xj = c->x[p->at[a] + j], *y = c->x + p->at[b];
                const int from = lag < 0 ? -lag : 0, to = p->len[b] < LAGS - lag ? p->len[b] : LAGS - lag;
                for (int k = from; k < to; k++) {
                    sum[lag + k] += xj * y[k];
                    early[lag + k] += xj * xj;
                    late[lag + k] += y[k] * y[k];
                    pairs[lag + k] += 1;
                }
            }
    for (int k = 0; k < LAGS; k++)
        cor[k] = (double)pairs[k] >= LEAST_PAIRS && early[k] > 0 && late[k] > 0 ? (double)sum[k] / sqrt((double)early[k] * (double)late[k])
                                                                               : (double)NAN;
    return pairs[0] > 0 ? (double)(sum[0] / pairs[0]) : 0;
}

static double between(const double cor[LAGS], double lag)
{
    int k = (int)lag;
    return k + 1 < LAGS ? cor[k] + (lag - k) * (cor[k + 1] - cor[k]) : (double)NAN;
}

/* Half of what the correlation is higher at one lag than at another; NAN: not known. */
static double contrast(const double cor[LAGS], double high, double low)
{
    return 0.5 * (between(cor, high) - between(cor, low)) ;
}

/* The next beat has to look like this one, and the one after it to some degree: rates wander. Where that one lies in no part, the
 * first has to come early in it: what a bend leaves of a part looks like a wave and a half. */
static double score_of(const double cor[LAGS], double period, int longest)
{
    const double first = contrast(cor, period, 0.5 * period), second = contrast(cor, 2 * period, 1.5 * period);
    if (isnan(first))
        return -1;
    if (isnan(second))
        return period < BEATS_APART * longest ? first : -1;
    return second < SECOND ? -1 : first;
}

struct found {
    double score, period_s, flow_l_s;
    bool rate; /* the period is true, too */
};

static int longest_part(const struct parts *p)
{
    int most = 0;
    for (int k = 0; k < p->n; k++)
        most = p->len[k] > most ? p->len[k] : most;
    return most;
}

static struct found look(struct cardiac *c, const struct ring *r, const struct cardiac_efforts *w, const struct noise *z, const struct breath_scale *scale, bool infant)
{
    const uint64_t step = ring_count(r, infant ? STEP_S / 2 : STEP_S);
    const double step_s = (double)step / r->rate_hz;
    struct found best = {.score = -1};
    double cor[LAGS];
    struct parts parts;
    if (!gather(c, r, w, step, ring_count(r, LEAST_S * scale->time), &parts))
        return best;
    const double noise2 = z->q_sd_l_s * z->q_sd_l_s / (double)(WIDE * step), shortest = infant ? 0.25 : 0.33, longest = infant ? 1.0 : 1.5;
    const double square = correlate(c, &parts, cor) - noise2;
    if (!(square > SIGNAL * noise2) || 2 * sqrt(2 * square) > MOST_L_S * scale->flow)
        return best;
    double score[256], factor = 1.015;
    int m = 0;
    for (double t = shortest; t < longest && m < 256; t *= factor, m++) {
        score[m] = score_of(cor, t / step_s, longest_part(&parts));
        if (score[m] > best.score)
            best.score = score[m];
    }
    double t = shortest;
    for (int k = 0; k < m; k++, t *= factor) {
        bool top = (k == 0 || score[k] >= score[k - 1]) && (k + 1 == m || score[k] >= score[k + 1]);
        if (top && score[k] >= FIRST_SHARE * best.score) {
            best.score = score[k];
            best.period_s = t;
            best.rate = t / step_s < RATE_APART * longest_part(&parts);
            break;
        }
    }
    best.flow_l_s = 2 * sqrt(2 * square);
    return best;
}

static bool agrees(double hr, double with)
{
    return fabs(hr - with) < SAME_RATE * with;
}

/* One look's answer. The rate has to be that of the look before, to open one and to go on with it. */
static bool enter(struct cardiac *c, const struct found *f, int64_t from_ns, int64_t now_ns, struct event *out)
{
    bool told = false;
    const double hr = f->score >= (c->open ? GOES_ON : SCORE) ? 60 / f->period_s : 0;
    const bool same = hr > 0 && agrees(hr, c->open ? c->hr_per_min : c->last_hr);
    if (!c->open && !same) {
        c->first_ns = from_ns;
        c->last_hr = hr;
        return false;
    }
    if (!same) {
        if (++c->misses >= MISSES) {
            told = tell(c, out);
            c->open = false;
            c->last_hr = 0;
        }
        return told;
    }
    if (c->open && now_ns - c->start_ns > EPISODE_MOST_NS) {
        told = tell(c, out);
        c->start_ns = c->end_ns;
        c->hits = c->rates = 0;
    } else if (!c->open) {
        c->open = true;
        c->start_ns = c->first_ns;
        c->hits = c->rates = 0;
        c->hr_per_min = hr;
        c->rate_known = false;
    }
    if (c->hits == 0)
        c->sum_hr = c->sum_flow = c->sum_score = 0;
    c->misses = 0;
    c->hits++;
    c->hr_per_min += SLOWLY * (hr - c->hr_per_min);
    if (f->rate) {
        c->sum_hr += hr;
        c->rates++;
        c->rate_known = true;
    }
    c->sum_flow += f->flow_l_s;
    c->sum_score += f->score;
    c->end_ns = now_ns;
    return told;
}

bool cardiac_breath(struct cardiac *c, const struct ring *r, const struct noise *z, const struct seg_breath *b, const struct cardiac_efforts *w, double a_heart_l_s,
                    const struct breath_scale *scale, struct event *out)
{
    const bool infant = scale->time < 0.75;
    if (b->complete && b->has_t1) {
        const uint64_t end = w->departed_ns < b->t2_ns ? ring_find(r, b->i1, b->i2 + 1, w->departed_ns) : b->i2;
        const uint64_t guard = ring_count(r, GUARD_S * scale->time), to = end > b->i1 + guard ? end - guard : b->i1;
        c->quiet[c->n % CARDIAC_QUIETS].from = b->i1 + (uint64_t)(FROM_SHARE * (double)(b->i2 - b->i1));
        c->quiet[c->n++ % CARDIAC_QUIETS].to = to;
    }
    if (b->t2_ns - c->looked_ns < EVERY_NS)
        return false;
    const int64_t since = c->looked_ns;
    c->looked_ns = b->t2_ns;
    struct found f = {.score = -1};
    const double step_n = larger(1, STEP_S * r->rate_hz);
    if (a_heart_l_s > larger(LEAST_L_S * scale->flow, z->q_sd_l_s / sqrt(step_n)))
        f = look(c, r, w, z, scale, infant);
    return enter(c, &f, c->n > 1 && since > 0 ? since : ring_at(r, ring_first(r))->t_ns, b->t2_ns, out);
}

bool cardiac_cut(struct cardiac *c, struct event *out)
{
    bool told = tell(c, out);
    cardiac_init(c);
    return told;
}
