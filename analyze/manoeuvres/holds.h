/* Inspiratory and expiratory holds, told from what stretches without flow (shut.h) were like.
 *
 * What tells shut valves from a machine that holds its pressure while flow has run out:
 *   - pressure moves by 1.5 cmH2O and more while flow stands (an effort, a lung that leaks), and by 0.8 more than in the
 *     patient's other stretches: what is held does not move. By 5 and more only muscles move it: it need last 0.9 s only;
 *   - flow stops at once, and pressure stands where it stands in no other breath of his: the drop of R V' at the end of
 *     inspiration, the rise from PEEP to total PEEP at that of expiration;
 *   - it lasts: longer than 1.6 times the second longest (among 12 and more: the third) of his stretches of 90 s before and
 *     30 s after, and 0.3 s, so that a set pause and long levels, which repeat, are none; without any other sign, an
 *     inflation longer than the second longest by 0.7 s, or an inflation of a machine's clock (periods within 1 % or 30 ms,
 *     and the same afterwards) over 0.8 s late.
 * An inspiratory one follows 0.4 of the usual volume, an expiratory one an expiration, and both other breaths of the last 25 s.
 * Where a leak would have gone on flowing, a machine serves. Known 30 s after the end. All common practice, no source. */
#ifndef TIDEMARK_ANALYZE_HOLDS_H
#define TIDEMARK_ANALYZE_HOLDS_H

#include "analyze/manoeuvres/hold_reading.h"
#include "analyze/manoeuvres/shut.h"

#define HOLDS_SEEN  256
#define HOLDS_CANDS 8

struct hold_stretch {
    int64_t from_ns, to_ns, raised_ns;
    float length_s, swing_cmh2o, p_cmh2o;
    bool inspired; /* after an inspiration, or at the upper level */
};

struct hold_candidate {
    struct shut_run run;
    struct hold_stretch as;
    struct ordinary usual;
    double noise_cmh2o; /* sd of a 0.15 s mean of pressure */
    double zero_l_s;
    struct hold_reading reading;
};

struct holds {
    struct shut shut;
    struct hold_stretch seen[HOLDS_SEEN]; /* the newest at (n_seen - 1) % HOLDS_SEEN */
    uint64_t n_seen;
    struct {
        int64_t from_ns, to_ns;
    } raised[HOLDS_SEEN]; /* inflations: pressure above the lower level */
    uint64_t n_raised;
    struct hold_candidate cand[HOLDS_CANDS];
    int n_cand;
};

void holds_init(struct holds *h);

/* After shut_tick's arguments. */
void holds_tick(struct holds *h, const struct shut_ctx *x, const struct tick *t, uint64_t from, uint64_t to,
                const struct ordinary *usual, bool spoiled);

/* A hold that is certain by now_ns; `all`: the samples end here, whatever was seen has to do. Call until false. */
bool holds_next(struct holds *h, int64_t now_ns, bool all, struct event *out, struct hold_reading *reading);

/* The samples break off; what was under way is lost, what has ended stays. */
void holds_cut(struct holds *h);

#endif
