/* An interval for an asynchrony index over a recording: block bootstrap of 3 minutes.
 *
 * Events come in bursts, so that Wilson's interval of the share is too narrow: whole blocks are drawn again, with replacement, and
 * the middle 95 % of 999 draws is given (Efron's percentile method; Kuensch 1989 for blocks, both from memory). Bursts that outlast a block
 * still leave it too narrow. The draws are the same each time: a fixed seed. Fixed memory: a recording of over 8 days has longer blocks. */
#ifndef TIDEMARK_SESSION_INTERVAL_H
#define TIDEMARK_SESSION_INTERVAL_H

#include "analyze/session/burden.h"

#define INTERVAL_BLOCK_S 180
#define INTERVAL_BLOCKS  4096
#define INTERVAL_LEAST   20 /* blocks with a judged breath, else none: common practice, no source */
#define INTERVAL_DRAWS   999

struct interval_block {
    uint32_t judged, events[2], ineffective[2];
};
struct interval {
    struct interval_block block[INTERVAL_BLOCKS];
    int shift; /* blocks are 180 s times 2^shift long */
    struct interval_block *last;
};

/* After burden_row and burden_flag of c, which tell what counts. Zeroed memory holds nothing. */
void interval_row(struct interval *i, const struct burden_count *c, int set, const struct breath_row *r);
void interval_flag(struct interval *i, int set, const struct flag *f);

/* Limits in %; false: too few blocks. */
bool interval_pct(const struct interval *i, int which, double *low, double *high);

#endif
