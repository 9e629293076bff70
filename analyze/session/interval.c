#include "analyze/session/interval.h"
#include "analyze/breath/order.h"
#include "analyze/patterns/pattern.h"

#include <math.h>
#include <string.h>

static void add(struct interval_block *to, const struct interval_block *b)
{
    to->judged += b->judged;
    for (int w = 0; w < 2; w++) {
        to->events[w] += b->events[w];
        to->ineffective[w] += b->ineffective[w];
    }
}

/* Blocks of twice the length. */
static void halve(struct interval *i)
{
    for (int k = 0; k < INTERVAL_BLOCKS / 2; k++) {
        struct interval_block both = i->block[2 * k];
        add(&both, &i->block[2 * k + 1]);
        i->block[k] = both;
    }
    memset(i->block + INTERVAL_BLOCKS / 2, 0, sizeof i->block / 2);
    i->shift++;
}

void interval_row(struct interval *i, const struct burden_count *c, int set, const struct breath_row *r)
{
    i->last = NULL;
    if (!(c->last_sets >> set & 1u) || r->t0_ns < 0)
        return;
    const int64_t block = r->t0_ns / (INTERVAL_BLOCK_S * NS_PER_S);
    while (block >> i->shift >= INTERVAL_BLOCKS)
        halve(i);
    i->last = &i->block[block >> i->shift];
    i->last->judged++;
}

void interval_flag(struct interval *i, int set, const struct flag *f)
{
    for (int w = f->what.confidence == CONF_DEFINITE ? DEFINITE : WITH_POSSIBLE; i->last && w <= WITH_POSSIBLE; w++) {
        i->last->events[w] += burden_names(set) >> f->pattern & 1u;
        i->last->ineffective[w] += f->pattern == PATTERN_ineffective_effort;
    }
}

/* splitmix64 (Steele, OOPSLA 2014, doi 10.1145/2660193.2660195; constants from memory). */
static uint64_t draw(uint64_t *state)
{
    uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
    return z ^ z >> 31;
}

bool interval_pct(const struct interval *i, int which, double *low, double *high)
{
    uint16_t used[INTERVAL_BLOCKS];
    double pct[INTERVAL_DRAWS];
    uint64_t state = 20060303, n = 0;
    for (int k = 0; k < INTERVAL_BLOCKS; k++)
        if (i->block[k].judged > 0)
            used[n++] = (uint16_t)k;
    *low = *high = (double)NAN;
    if (n < INTERVAL_LEAST)
        return false;
    for (int d = 0; d < INTERVAL_DRAWS; d++) {
        double events = 0, of = 0;
        for (uint64_t k = 0; k < n; k++) {
            const struct interval_block *b = &i->block[used[(draw(&state) >> 32) * n >> 32]];
            events += b->events[which];
            of += (double)b->judged + b->ineffective[which];
        }
        pct[d] = 100 * events / of;
    }
    *low = order_kth(pct, INTERVAL_DRAWS, 24); /* ranks 25 and 975 of 999: 2.5 and 97.5 % */
    *high = order_kth(pct, INTERVAL_DRAWS, 974);
    return true;
}
