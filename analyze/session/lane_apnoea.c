#include "analyze/session/lane_breath.h"

#include "analyze/breath/extreme.h"

#include <math.h>
#include <string.h>

#define APNOEA_S        20.0 /* common practice, no source; as what follows */
#define BEATS_S         1.0
#define OUT_L_S         0.02
#define PULLED_CMH2O    4.0
#define HELD_CMH2O      2.0

static bool owns(const struct event *e)
{
    return e->id == EVENT_disconnection || e->id == EVENT_suction || e->id == EVENT_sustained_inflation;
}

static void apnoea_part(struct lane *l, int64_t from_ns, int64_t until_ns, const char *ended_by)
{
    if (until_ns - from_ns < (int64_t)(APNOEA_S * 1e9))
        return;
    /* Where no breath was seen since the samples began, somebody has to be there: at least a machine that holds a pressure. */
    if (l->unseen && !(l->rest.known_ns >= from_ns && l->rest.level_cmh2o >= HELD_CMH2O))
        return;
    struct event e = {.start_ns = from_ns, .end_ns = until_ns, .id = EVENT_apnoea,
                      .confidence = l->uncalibrated || l->unseen ? CONF_POSSIBLE : CONF_DEFINITE, .n_values = 1};
    e.values[0] = (struct event_value){.key = "ended_by", .number = (double)NAN, .text = ended_by};
    lane_event(l, &e);
}

/* The first event in [from, until) that explains a quiet stretch better than apnoea does; NULL: none. */
static const struct event *owner_within(const struct pending *p, int64_t from_ns, int64_t until_ns)
{
    const struct event *first = NULL;
    for (int i = 0; i < p->n_events; i++) {
        const struct event *e = &p->events[i];
        if (owns(e) && e->end_ns > from_ns && e->start_ns < until_ns && (!first || e->start_ns < first->start_ns))
            first = e;
    }
    return first;
}

/* What is silent before, between and after the events up to this time; quiet_from moves to the end of the last. */
static void parts_until(struct lane *l, int64_t until_ns)
{
    const struct event *owner;
    while ((owner = owner_within(&l->pending, l->quiet_from_ns, until_ns)) != NULL) {
        int64_t from = l->quiet_from_ns, to = owner->start_ns;
        l->quiet_from_ns = owner->end_ns;
        apnoea_part(l, from, to, "event");
    }
}

/* An event under way that will own what comes: where it began; otherwise until_ns. */
static int64_t owned_from(const struct lane *l, int64_t until_ns)
{
    if (l->disconnection.active && l->disconnection.start_ns < until_ns)
        until_ns = l->disconnection.start_ns;
    if (l->suction.active && l->suction.start_ns < until_ns)
        until_ns = l->suction.start_ns;
    if (l->one_way.active && l->one_way.start_ns < until_ns)
        until_ns = l->one_way.start_ns;
    if (l->inflation.active && l->inflation.start_ns < until_ns)
        until_ns = l->inflation.start_ns;
    return until_ns;
}

void lane_apnoea(struct lane *l, int64_t until_ns, const char *ended_by)
{
    if (l->quiet_from_ns < 0)
        return;
    int64_t to = owned_from(l, until_ns), from;
    parts_until(l, to);
    from = l->quiet_from_ns;
    l->quiet_from_ns = to > from ? to : from;
    apnoea_part(l, from, to, to < until_ns ? "event" : ended_by);
}

/* An apnoea was ended by what looked like a breath and was the start of this event. */
static void ends_with(struct pending *p, const struct event *owner)
{
    for (int i = 0; i < p->n_events; i++) {
        struct event e = p->events[i];
        if (e.id != EVENT_apnoea || e.start_ns >= owner->start_ns || e.end_ns <= owner->start_ns || e.end_ns > owner->end_ns)
            continue;
        p->n_events--;
        memmove(&p->events[i], &p->events[i + 1], (size_t)(p->n_events - i) * sizeof e);
        e.end_ns = owner->start_ns;
        e.values[0].text = "event";
        if (e.end_ns - e.start_ns >= (int64_t)(APNOEA_S * 1e9))
            pending_event(p, &e);
        return;
    }
}

void lane_silence_explained(struct lane *l, const struct event *e)
{
    if (!owns(e) || l->quiet_from_ns < 0)
        return;
    ends_with(&l->pending, e);
    bool breath = (l->seg.state == SEG_INSP || l->seg.state == SEG_EXP) && l->seg.open.t0_ns < e->start_ns;
    if (!breath) /* else when that has closed */
        parts_until(l, e->end_ns);
}

/* Does pressure swing as only efforts on a shut airway make it? The heart's beats reach 1 cmH2O. */
static bool pulled(const struct ring *r, uint64_t from, uint64_t to)
{
    uint64_t k = ring_count(r, 0.1);
    double lo = INFINITY, hi = -INFINITY;
    for (uint64_t i = from; i + k <= to; i += k) {
        double p = ring_p_mean(r, i, i + k);
        lo = smaller(lo, p);
        hi = larger(hi, p);
    }
    return hi - lo > PULLED_CMH2O;
}

/* Where expired flow has run out, if nothing follows for long: over means so long that the heart's beats cancel. */
static void ran_out_at(struct lane *l, const struct seg_breath *b)
{
    uint64_t mean = ring_count(l->ring, BEATS_S * l->scale.time), k = ring_count(l->ring, 0.05), i = b->i1;
    double level = larger(OUT_L_S * l->scale.flow, 3 * l->noise.q_sd_l_s / sqrt((double)mean));
    while (i + mean < b->i2 && fabs(ring_q_mean(l->ring, i, i + mean) - base_flow_at(&l->seg.base, ring_at(l->ring, i)->p)) > level)
        i += k;
    i = i + mean / 2 < b->i2 ? i + mean / 2 : b->i2;
    if (pulled(l->ring, i, b->i2))
        i = b->i2; /* somebody tries to breathe: the airway is shut, breathing has not stopped */
    l->quiet_from_ns = ring_at(l->ring, i)->t_ns;
}

/* Back from the breath's end over flow at rest. A channel of unknown scale and zero rests at the level it ends at, within
 * what tells its humps; where it ends can only be guessed. */
static void expired(struct lane *l, const struct seg_breath *b)
{
    if (!l->uncalibrated && b->has_t1 && b->why == WHY_breath_long) {
        ran_out_at(l, b);
        return;
    }
    uint64_t k = ring_count(l->ring, 0.05), i = b->i2;
    double level = fmax(0.03 * l->scale.flow, 3 * l->noise.q_sd_l_s / sqrt((double)k)), zero = 0;
    if (l->uncalibrated) {
        level = TIMING_LOW * l->timing.height;
        zero = i > b->i1 + k ? ring_q_mean(l->ring, i - k, i) : 0;
    }
    while (i > b->i1 + k && fabs(ring_q_mean(l->ring, i - k, i) - zero -
                                 base_flow_at(&l->seg.base, ring_at(l->ring, i - 1)->p)) <= level)
        i -= k;
    l->quiet_from_ns = ring_at(l->ring, i)->t_ns;
}

void lane_breathed(struct lane *l, const struct seg_breath *b)
{
    lane_apnoea(l, b->t0_ns, l->uncalibrated ? "breath" : b->machine ? "machine" : "patient");
    l->unseen = false;
    l->breath_ns = b->t2_ns;
    expired(l, b);
    parts_until(l, b->t2_ns); /* told before the breath had closed */
}
