#include "analyze/breath/timing_only.h"

#include "analyze/breath/order.h"

#include <string.h>

#define AHEAD_BINS   40 /* 2 s */
#define FADE         0.99972 /* per 50 ms mean: to 1/e in three minutes */
#define FOOT         0.12    /* of the humps' height: within it of rest the channel rests */
#define RISE         0.02    /* of the height, in 0.1 s: a rise of 1 s as a sine gains 0.15 at its start, what still expires less */
#define LONG_NS      (INT64_C(20) * NS_PER_S)

void timing_only_init(struct timing_only *s, const struct ring *r, seg_breath_fn *fn, void *user)
{
    memset(s, 0, sizeof *s);
    s->ring = r;
    s->fn = fn;
    s->user = user;
    s->bin = ring_count(r, 0.050);
    s->next = s->bin;
}

/* Resting level and height of the humps : the 20th and 97th percentile of the last 20 s (ahead
 * included). A hold long enough to fill the window still leaves the humps' height from before it, as the
 * height decays slowly: what stands out by under a quarter of it is not a breath. */
static void levels(const struct timing_only *s, double *rest, double *top)
{
    double v[TIMING_BINS];
    uint64_t newest = s->n_bins - 1, from = newest >= TIMING_BINS ? newest - TIMING_BINS + 1 : 0;
    int n = 0;
    for (uint64_t i = from; i <= newest; i++)
        v[n++] = s->level[i % TIMING_BINS];
    *rest = order_kth(v, n, n / 5);
    *top = order_kth(v, n, (int)(0.97 * (n - 1)));
}

static int close_open(struct timing_only *s, uint64_t i2, bool complete, enum reason why)
{
    s->open.i2 = i2;
    s->open.t2_ns = ring_at(s->ring, i2)->t_ns;
    s->open.complete = complete;
    s->open.why = why;
    if (!s->open.has_t1) {
        s->open.i1 = i2;
        s->open.t1_ns = s->open.t2_ns;
    }
    s->have_open = false;
    return s->fn(s->user, &s->open);
}

/* Back from bin k, where the channel is well up, to where it left its rest: where it was last low, or where its rise
 * began. The second is needed where expired flow shows as well, which rises slowly to its end. */
static uint64_t foot_bin(const struct timing_only *s, uint64_t k, double level, double height)
{
    uint64_t oldest = s->n_bins > TIMING_BINS ? s->n_bins - TIMING_BINS : 0;
    while (k > oldest + 1 && k > s->turned_bin + 1 && s->level[(k - 1) % TIMING_BINS] > level &&
           s->level[k % TIMING_BINS] - s->level[(k - 2) % TIMING_BINS] > RISE * height)
        k--;
    return k;
}

static int examine(struct timing_only *s, uint64_t k)
{
    double rest, top, now = s->level[k % TIMING_BINS];
    uint64_t i = s->begin_of[k % TIMING_BINS];
    levels(s, &rest, &top);
    /* A hold long enough to fill the window leaves the humps' height remembered: it fades over minutes. */
    s->height = fmax(top - rest, s->height * FADE);
    double height = s->height;
    bool up = height > 0 && now > rest + 0.40 * height, low = now < rest + TIMING_LOW * height;
    int rc = TM_OK;
    if (!s->inspiring && up && s->seen_rest) {
        uint64_t f = foot_bin(s, k, rest + FOOT * height, height), at = s->begin_of[f % TIMING_BINS];
        if (s->have_open)
            rc = close_open(s, at, true, WHY_NONE);
        s->open = (struct seg_breath){.i0 = at, .ended = at, .t0_ns = ring_at(s->ring, at)->t_ns, .peep_before = (double)NAN};
        s->have_open = s->inspiring = true;
        s->seen_rest = false;
    } else if (s->inspiring && low) {
        s->inspiring = false;
        s->turned_bin = k;
        s->open.i1 = i;
        s->open.t1_ns = ring_at(s->ring, i)->t_ns;
        s->open.has_t1 = true;
    } else if (s->have_open && ring_at(s->ring, i)->t_ns - s->open.t0_ns > LONG_NS) {
        s->inspiring = false;
        rc = close_open(s, i, false, WHY_breath_long);
    }
    s->seen_rest = s->seen_rest || low;
    return rc;
}

static int advance(struct timing_only *s, uint64_t ahead)
{
    const struct ring *r = s->ring;
    int rc = TM_OK;
    if (s->next < r->begin + s->bin)
        s->next = r->begin + s->bin;
    while (rc == TM_OK && s->next <= r->end) {
        s->level[s->n_bins % TIMING_BINS] = ring_q_mean(r, s->next - s->bin, s->next);
        s->begin_of[s->n_bins % TIMING_BINS] = s->next - s->bin;
        s->n_bins++;
        s->next += s->bin;
        /* The first look waits until the humps of 10 s are known; then each mean follows 2 s behind. */
        while (rc == TM_OK && s->n_bins >= 200 && s->looked + AHEAD_BINS < s->n_bins)
            rc = examine(s, s->looked++);
    }
    while (rc == TM_OK && ahead == 0 && s->looked < s->n_bins)
        rc = examine(s, s->looked++);
    return rc;
}

int timing_only_follow(struct timing_only *s)
{
    return advance(s, AHEAD_BINS);
}

int timing_only_cut(struct timing_only *s, enum reason why)
{
    int rc = advance(s, 0);
    if (rc == TM_OK && s->have_open)
        rc = close_open(s, s->ring->end - 1, false, why);
    s->inspiring = s->have_open = s->seen_rest = false;
    s->n_bins = s->looked = s->turned_bin = 0;
    s->height = 0;
    return rc;
}
