#include "analyze/session/check.h"
#include "analyze/session/check_internal.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define JUMP_NS (NS_PER_S * 3 / 10)

int check_new(struct check **out, const struct recording_info *info)
{
    struct check *c = calloc(1, sizeof *c);
    if (!c)
        return TM_ERR_MEMORY;
    c->info = info;
    c->r.last_ns = -1;
    c->r.longest_hole_at_ns = -1;
    const double rate = info->rate_den > 0 ? (double)info->rate_num / (double)info->rate_den : 100;
    c->back = (size_t)(0.05 * rate + 0.5);
    c->back = c->back < 1 ? 1 : c->back >= CHECK_RING ? CHECK_RING - 1 : c->back;
    for (int i = 0; i < CH_N; i++)
        c->ch[i].step = (double)NAN;
    *out = c;
    return TM_OK;
}

void check_destroy(struct check *c)
{
    free(c);
}

/* 16 bins to each power of two, of magnitudes from 2^-16 to 2^20; what is smaller or larger goes to the end bins. */
static size_t bin_of(double v)
{
    int e;
    const double f = frexp(fabs(v), &e); /* 0.5 .. 1 */
    if (f == 0 || e <= -16)
        return 0;
    if (e > 20)
        return CHECK_BINS - 1;
    return (size_t)(e + 15) * 16 + (size_t)((f - 0.5) * 32);
}

double check_bin_value(size_t bin)
{
    return ldexp(0.5 + ((double)(bin % 16) + 0.5) / 32, (int)(bin / 16) - 15);
}

/* A run of equal samples at an extreme counts once it has CHECK_CLIP_RUN; a new extreme starts anew. */
static void extreme(double v, double *best, bool beyond, uint64_t run, uint64_t *count)
{
    if (beyond) {
        *best = v;
        *count = 0;
    }
    if (v != *best)
        return;
    if (run == CHECK_CLIP_RUN)
        *count += CHECK_CLIP_RUN;
    else if (run > CHECK_CLIP_RUN)
        *count += 1;
}

static void take_value(struct channel_state *s, int64_t t, double v)
{
    if (v != v) {
        s->missing++;
        s->have = false;
        return;
    }
    s->bin[bin_of(v)]++;
    if (s->have && v == s->last) {
        s->run++;
        if (t - s->since > s->stuck_ns) {
            s->stuck_ns = t - s->since;
            s->stuck_at = s->since;
        }
    } else {
        const double d = fabs(v - s->last);
        if (s->have && d > 0 && !(s->step <= d))
            s->step = d;
        s->run = 1;
        s->since = t;
    }
    extreme(v, &s->max, s->n == 0 || v > s->max, s->run, &s->at_max);
    extreme(v, &s->min, s->n == 0 || v < s->min, s->run, &s->at_min);
    s->n++;
    s->have = true;
    s->last = v;
}

/* The median of the first steps is the yardstick; steps before it is known are judged once it is. */
static void count_step(struct check *c, int64_t dt)
{
    if (c->n_first < CHECK_FIRST) {
        c->first[c->n_first++] = dt;
        if (c->n_first == CHECK_FIRST)
            check_settle_steps(c);
        return;
    }
    c->steps++;
    c->odd_steps += llabs(dt - c->median_ns) * 10 > c->median_ns;
}

static void take_time(struct check *c, int64_t t)
{
    if (c->r.last_ns >= 0) {
        const int64_t dt = t - c->r.last_ns;
        if (dt > c->info->gap_limit_ns) {
            c->r.holes++;
            c->hole_ns += dt;
            if (dt > c->longest_ns) {
                c->longest_ns = dt;
                c->r.longest_hole_at_ns = c->r.last_ns;
            }
            for (int i = 0; i < CH_N; i++)
                c->ch[i].have = false;
            c->ring_n = 0;
        } else {
            c->min_ns = c->min_ns == 0 || dt < c->min_ns ? dt : c->min_ns;
            c->max_ns = dt > c->max_ns ? dt : c->max_ns;
            count_step(c, dt);
            c->step_s = (double)dt * 1e-9;
        }
    }
    c->r.last_ns = t;
    c->r.samples++;
}

/* A machine's valve moves pressure and flow the same way; a sign turned makes them part. */
static void take_pair(struct check *c, double p, double q)
{
    if (!(p == p && q == q)) {
        c->ring_n = 0;
        return;
    }
    const size_t at = (size_t)(c->r.samples % CHECK_RING);
    c->ring_p[at] = p;
    c->ring_q[at] = q;
    if (c->ring_n > 0)
        *(q > 0 ? &c->r.inspired_l : &c->r.expired_l) += fabs(q) * c->step_s;
    if (c->ring_n < CHECK_RING)
        c->ring_n++;
    if (c->ring_n <= c->back)
        return;
    const size_t old = (at + CHECK_RING - c->back) % CHECK_RING;
    const double dp = p - c->ring_p[old], dq = q - c->ring_q[old];
    if (fabs(dp) < 2 || fabs(dq) < 0.2 || c->r.last_ns - c->jumped_ns < JUMP_NS)
        return;
    c->jumped_ns = c->r.last_ns;
    if ((dp > 0) == (dq > 0))
        c->r.steps_same++;
    else
        c->r.steps_opposite++;
}

void check_item(struct check *c, const struct item *it)
{
    if (it->kind == ITEM_MARK) {
        c->r.marks++;
        return;
    }
    if (it->kind == ITEM_GAP)
        return;
    const struct sample_block *b = it->samples;
    const bool both = (b->channels >> CH_PAW & 1u) && (b->channels >> CH_FLOW & 1u);
    for (size_t i = 0; i < b->n; i++) {
        take_time(c, b->t_ns[i]);
        for (int k = 0; k < CH_N; k++)
            if (b->channels >> k & 1u)
                take_value(&c->ch[k], b->t_ns[i], b->v[k][i]);
        if (both)
            take_pair(c, b->v[CH_PAW][i], b->v[CH_FLOW][i]);
    }
}

bool check_name_like(const char *code)
{
    int digits = 0, most = 0, words = 0, groups = 0;
    for (const char *p = code; *p; p++) {
        const bool starts = p == code || !isalnum((unsigned char)p[-1]);
        if (isupper((unsigned char)*p) && starts && islower((unsigned char)p[1]))
            words++;
        if (isdigit((unsigned char)*p)) {
            digits++;
            groups += digits == 1;
        } else {
            digits = 0;
        }
        most = digits > most ? digits : most;
    }
    const bool parted = strpbrk(code, "-./ ") != NULL;
    return words >= 2 || most >= 6 || (groups >= 3 && parted);
}
