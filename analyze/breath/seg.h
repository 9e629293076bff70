/* Segmentation: where each breath starts (t0), turns (t1) and ends (t2, the next t0).
 *
 *   WAIT --onset--> INSP --start of expiration--> EXP --onset--> INSP ...
 *
 * An onset is a candidate first (gas since its start under the volume that counts as a breath); a candidate
 * that comes to nothing leaves no trace: the open expiration goes on as if it had not been. What starts it:
 *   - the machine's joint step of pressure and flow (elbow.h): t0 is the step;
 *   - flow that turns inward for good: t0 is where it turned; gas drawn before a step that follows without
 *     flow turning back belongs to no breath, and t0 is the step.
 * What ends inspiration: the machine's joint fall; else flow that turns outward for good.
 *
 * Every decision at sample n looks at most 0.8 s ahead (and never past a hole or the end), so breaths come out
 * identically for any block size. Events (suction, holds, ...) are other rooms' business: here they only
 * must not make nonsense. */
#ifndef TIDEMARK_ANALYZE_SEG_H
#define TIDEMARK_ANALYZE_SEG_H

#include "analyze/breath/elbow.h"
#include "analyze/breath/row.h"

struct seg_breath {
    uint64_t i0, i1, i2;       /* samples at or just before t0, t1, t2 */
    uint64_t ended;            /* where the breath before it ended: i0, or earlier where gas was drawn before t0 */
    int64_t t0_ns, t1_ns, t2_ns;
    int64_t steady_ns;         /* near t0, with less scatter from breath to breath: for intervals */
    bool machine;              /* a machine delivers */
    bool drawn;                /* it began as a draw of the patient's, the machine showed later: t0 is where flow turned */
    bool fall;                 /* t1 is a machine's fall */
    bool has_t1;               /* false: cut before expiration began (t1 = t2) */
    bool complete;             /* t2 is the next onset */
    enum reason why;           /* of an incomplete one: gap, breath_long, WHY_NONE at the end of input */
    double p_foot;             /* at t0, before the step, cmH2O */
    double peep_before;        /* the segmenter's PEEP at t0, cmH2O; NAN: not known yet */
};

/* Why an incomplete breath's cells are empty: where the input ends, its last samples are missing. */
static inline enum reason seg_breath_why(const struct seg_breath *b)
{
    return b->why == WHY_NONE ? WHY_gap : b->why;
}

typedef int seg_breath_fn(void *user, const struct seg_breath *b);

enum seg_state { SEG_WAIT, SEG_INSP, SEG_EXP };

#define SEG_INSP_LONG_S 12.0 /* longer inward flow is no inspiration */
#define HEART_LOBE_S    0.55 /* over twice the volume of a half-cycle at 1.4 Hz */
#define SEG_FEET   5
#define SEG_HEARTS 10

struct seg {
    struct ring *ring;
    const struct noise *noise;
    struct base_flow base;
    struct elbow_ctx elbow;
    struct breath_scale scale;
    seg_breath_fn *fn;
    void *user;
    enum seg_state state;
    uint64_t n;      /* next sample to examine */
    uint64_t stride; /* every how many: about 20 ms; what is found is then located to the sample */
    double q_hi, q_lo;
    struct seg_breath open;
    double q_peak, p_peak;
    uint64_t held_from;   /* sample of the first outward flow of this inspiration; at or before i0: none */
    double v_peak_l, v_low_l; /* highest volume integral since t0, the lowest since then */
    uint64_t v_peak_at, v_low_at;
    bool turned;          /* flow has been outward, or stood still for 0.25 s, since t1 (or the run's start) */
    uint64_t still_from;  /* first sample of the present standstill */
    uint64_t ran_from;    /* after the last sample of this inspiration at which gas still flowed in earnest */
    uint64_t stood_at;    /* last sample of this inspiration at which flow had stood still for long enough */
    bool cand, cand_machine;
    struct seg_breath next; /* the candidate: i0, t0 and what is known of its start */
    double cand_peak;
    uint64_t cand_peak_at;
    uint64_t cand_low_at; /* where its lung was emptiest: a rise may meet one that still empties */
    double feet[SEG_FEET];
    int64_t foot_ns;      /* time of the last machine onset */
    int n_feet;
    double peep;          /* median of the feet, NAN: none yet */
    double heart[SEG_HEARTS];
    int n_heart;
    double a_card_l_s;    /* amplitude of the heart's oscillation in flow */
    int64_t renewed_ns;   /* when the base was last taken from a stretch without breaths */
    uint64_t margin;      /* samples elbow_maybe needs beyond n */
    bool no_lesson;       /* set from outside: base flow and heart are not learnt (disconnection, suction) */
};

void seg_init(struct seg *s, struct ring *r, const struct noise *z, struct breath_scale scale, seg_breath_fn *fn,
              void *user);

/* After samples were pushed into the ring: examines all that have their look-ahead. A non-zero result of the
 * callback stops it and is returned. */
int seg_follow(struct seg *s) MUST_USE;

/* No more samples of this run will come: examines the rest, closes the open breath as incomplete (why). */
int seg_cut(struct seg *s, enum reason why) MUST_USE;

/* Net flow: what is left of q when the base flow is taken away, mean of 30 ms about n. */
static inline double seg_net_mean(const struct seg *s, uint64_t n)
{
    uint64_t first = ring_first(s->ring), from = n > first + s->elbow.half ? n - s->elbow.half : first;
    uint64_t to = n + s->elbow.half + 1;
    if (to > s->ring->end)
        to = s->ring->end;
    return ring_q_mean(s->ring, from, to) - base_flow_at(&s->base, ring_at(s->ring, n)->p);
}

#endif
