#include "analyze/session/engine.h"

#include "analyze/session/lane.h"

#include <stdlib.h>
#include <string.h>

#define SHORT_HOLE_NS   (NS_PER_S / 20)
#define SIZE_AFTER_NS   (60 * NS_PER_S)
#define INFANT_UNDER_L  0.120
#define KEPT_S          30.0
#define MARKS_KEPT      32
#define LOOKS_A_RELEASE 32

struct engine {
    struct ring ring;
    struct lane *lane, *infant; /* infant: only until the patient's size is known */
    struct engine_sink sink;
    struct engine_totals totals;
    int64_t gap_limit_ns;
    int64_t last_ns;   /* last sample that was used; -1 */
    uint64_t stride;   /* samples between looks: counted, so that blocks don't matter */
    uint64_t look_at;
    uint64_t looks;
    char reason[32];   /* of the hole that is coming */
    struct mark marks[MARKS_KEPT]; /* waiting to be matched with events */
    int n_marks;
    bool ended;
};

int engine_new(struct engine **out, const struct recording_info *info, const struct engine_opts *o,
               const struct engine_sink *sink)
{
    struct engine *e = calloc(1, sizeof *e);
    if (!e)
        return TM_ERR_MEMORY;
    double rate = info->rate_den > 0 ? (double)info->rate_num / (double)info->rate_den : 0;
    int rc = rate >= 1 && rate <= 2000 ? TM_OK : TM_ERR_USAGE;
    enum patient_size size = o->patient != PATIENT_UNKNOWN ? o->patient : info->patient;
    e->sink = *sink;
    e->gap_limit_ns = info->gap_limit_ns;
    e->last_ns = -1;
    e->totals.last_ns = -1;
    e->totals.patient = size;
    e->stride = rate >= 24 ? (uint64_t)(rate / 12) : 1;
    if (rc == TM_OK)
        rc = ring_init(&e->ring, rate, info->gap_limit_ns, KEPT_S);
    if (rc == TM_OK)
        rc = lane_new(&e->lane, &e->ring, info, size, o->pbw_kg);
    if (rc == TM_OK && size == PATIENT_UNKNOWN && !info->flow_uncalibrated)
        rc = lane_new(&e->infant, &e->ring, info, PATIENT_INFANT, o->pbw_kg);
    if (rc != TM_OK) {
        engine_destroy(e);
        return rc;
    }
    if (o->patterns) {
        e->lane->pending.settings = *o->patterns;
        if (e->infant)
            e->infant->pending.settings = *o->patterns;
    }
    *out = e;
    return TM_OK;
}

void engine_destroy(struct engine *e)
{
    if (!e)
        return;
    lane_destroy(e->lane);
    lane_destroy(e->infant);
    ring_free(&e->ring);
    free(e);
}

/* Adult or infant, once, from the first minute's volumes. */
static void decide_size(struct engine *e)
{
    if (!e->infant)
        return;
    double adult = lane_volume75_l(e->lane), small = lane_volume75_l(e->infant);
    bool infant = isnan(adult) ? !isnan(small) && small < INFANT_UNDER_L && e->infant->n_volumes >= 10
                               : adult < INFANT_UNDER_L;
    struct lane *loser = infant ? e->lane : e->infant;
    if (infant)
        e->lane = e->infant;
    lane_destroy(loser);
    e->infant = NULL;
    e->totals.patient = infant ? PATIENT_INFANT : PATIENT_ADULT;
    e->totals.patient_inferred = true;
}

static int look(struct engine *e)
{
    int rc = lane_follow(e->lane);
    if (rc == TM_OK && e->infant)
        rc = lane_follow(e->infant);
    if (e->infant && e->last_ns >= SIZE_AFTER_NS)
        decide_size(e);
    /* What waits 120 s may wait a second more; how long is counted in looks, so that blocks don't matter. */
    if (rc == TM_OK && !e->infant && e->looks++ % LOOKS_A_RELEASE == 0)
        rc = pending_release(&e->lane->pending, e->last_ns, false, &e->lane->noise, e->lane->seg.a_card_l_s, &e->sink);
    return rc;
}

/* Marks meet the events that have ended around them; they wait 120 s for those still to come. */
static void match_marks(struct engine *e, int64_t now_ns)
{
    int kept = 0;
    for (int i = 0; i < e->n_marks; i++) {
        lane_mark(e->lane, &e->marks[i]);
        if (now_ns - e->marks[i].at_ns < HOLD_NS)
            e->marks[kept++] = e->marks[i];
    }
    e->n_marks = kept;
}

static int cut(struct engine *e, enum reason why)
{
    int rc = lane_cut(e->lane, why);
    if (rc == TM_OK && e->infant)
        rc = lane_cut(e->infant, why);
    return rc;
}

static int long_hole(struct engine *e, int64_t t_ns)
{
    struct event ev = {.start_ns = e->last_ns, .end_ns = t_ns, .id = EVENT_gap, .confidence = CONF_DEFINITE};
    int rc = look(e);
    if (rc == TM_OK)
        rc = cut(e, WHY_gap);
    if (rc != TM_OK)
        return rc;
    memcpy(ev.note, e->reason, sizeof e->reason);
    if (!ev.note[0])
        strcpy(ev.note, "missing");
    pending_event(&e->lane->pending, &ev);
    if (e->infant)
        pending_event(&e->infant->pending, &ev);
    ring_break(&e->ring);
    trend_restart(&e->lane->trend, t_ns);
    if (e->infant)
        trend_restart(&e->infant->trend, t_ns);
    e->totals.holes_long++;
    return TM_OK;
}

static int look_if_due(struct engine *e)
{
    if (e->ring.end < e->look_at)
        return TM_OK;
    e->look_at = e->ring.end + e->stride;
    if (e->n_marks)
        match_marks(e, e->last_ns);
    return look(e);
}

static int one_sample(struct engine *e, int64_t t_ns, double p, double q)
{
    int rc = TM_OK;
    e->totals.samples++;
    e->totals.last_ns = t_ns;
    if (!(isfinite(p) && isfinite(q))) {
        e->totals.missing_samples++;
        return TM_OK;
    }
    if (e->last_ns >= 0) {
        int64_t step = t_ns - e->last_ns;
        if (step <= e->gap_limit_ns) {
            e->totals.observed_ns += step;
        } else {
            e->totals.hole_ns += step;
            if (step > SHORT_HOLE_NS)
                rc = long_hole(e, t_ns);
            else
                e->totals.holes_short++;
            e->reason[0] = '\0';
        }
    }
    if (rc != TM_OK)
        return rc;
    ring_push(&e->ring, t_ns, p, q);
    e->last_ns = t_ns;
    return look_if_due(e);
}

/* Samples that follow without a hole or a missing value, up to the next look, need no question each. Returns how many
 * were taken. */
static size_t push_plain(struct engine *e, const struct sample_block *b, size_t i)
{
    if (e->last_ns < 0 || e->ring.end >= e->look_at)
        return 0;
    size_t most = (size_t)(e->look_at - e->ring.end), there = b->n - i;
    size_t n = ring_push_plain(&e->ring, b->t_ns + i, b->v[CH_PAW] + i, b->v[CH_FLOW] + i, most < there ? most : there);
    if (n > 0) {
        int64_t last = b->t_ns[i + n - 1];
        e->totals.samples += n;
        e->totals.observed_ns += last - e->last_ns;
        e->last_ns = e->totals.last_ns = last;
    }
    return n;
}

static int push_block(struct engine *e, const struct sample_block *b)
{
    int rc = TM_OK;
    for (size_t i = 0; rc == TM_OK && i < b->n;) {
        size_t n = push_plain(e, b, i);
        i += n;
        if (n > 0) {
            rc = look_if_due(e);
        } else {
            rc = one_sample(e, b->t_ns[i], b->v[CH_PAW][i], b->v[CH_FLOW][i]);
            i++;
        }
    }
    return rc;
}

int engine_push(struct engine *e, const struct item *it)
{
    int rc = TM_OK;
    if (e->ended)
        return TM_ERR_USAGE;
    switch (it->kind) {
    case ITEM_SAMPLES:
        rc = push_block(e, it->samples);
        break;
    case ITEM_GAP:
        memcpy(e->reason, it->gap.reason, sizeof e->reason);
        e->reason[sizeof e->reason - 1] = '\0';
        break;
    case ITEM_MARK:
        if (lane_wants(&it->mark) && e->n_marks < MARKS_KEPT) /* more of suction in 120 s name the same event */
            e->marks[e->n_marks++] = it->mark;
        break;
    }
    return rc;
}

int engine_end(struct engine *e)
{
    if (e->ended)
        return TM_ERR_USAGE;
    int rc = e->ring.end > 0 ? look(e) : TM_OK;
    if (rc == TM_OK && e->ring.end > 0)
        rc = cut(e, WHY_NONE);
    decide_size(e);
    match_marks(e, INT64_MAX);
    if (rc == TM_OK)
        rc = pending_release(&e->lane->pending, e->last_ns, true, &e->lane->noise, e->lane->seg.a_card_l_s, &e->sink);
    e->totals.breaths = e->lane->pending.released_rows;
    e->totals.events = e->lane->pending.released_events;
    e->ended = true;
    return rc;
}

const struct engine_totals *engine_totals(const struct engine *e)
{
    return &e->totals;
}
