#include "analyze/session/lane.h"

#include "analyze/breath/order.h"
#include "analyze/session/lane_breath.h"
#include "analyze/session/lane_effort.h"

#include <stdlib.h>
#include <string.h>

#define LIVELY_NS     (25 * NS_PER_S)  /* a hold is a pause among breaths */
#define MARK_REACH_NS (120 * NS_PER_S)
#define DROP_AFTER_NS (60 * NS_PER_S) /* by then breathing would have refuted it */

int lane_new(struct lane **out, struct ring *r, const struct recording_info *info, enum patient_size size,
             double pbw_kg)
{
    struct lane *l = calloc(1, sizeof *l);
    if (!l)
        return TM_ERR_MEMORY;
    l->ring = r;
    l->scale = breath_scale_of(size);
    l->infant = size == PATIENT_INFANT;
    l->uncalibrated = info->flow_uncalibrated;
    l->pbw_kg = pbw_kg;
    if (pending_init(&l->pending, l->scale.flow, r->rate_hz) != TM_OK) {
        free(l);
        return TM_ERR_MEMORY;
    }
    l->pending.uncalibrated = info->flow_uncalibrated;
    l->pending.time_scale = l->scale.time;
    pattern_defaults(&l->pending.settings);
    noise_init(&l->noise, r->rate_hz, l->scale.flow);
    seg_init(&l->seg, r, &l->noise, l->scale, lane_breath, l);
    timing_only_init(&l->timing, r, lane_breath, l);
    trend_init(&l->trend);
    tracker_init(&l->tracker);
    trend_init(&l->habit_trend);
    l->tracked_peep_cmh2o = (double)NAN;
    l->ordinary = (struct ordinary){.peep_cmh2o = (double)NAN, .pip_cmh2o = (double)NAN,
                                    .te_s = (double)NAN, .period_s = (double)NAN,
                                    .period_spread = (double)NAN, .vt_l = (double)NAN};
    l->habit = l->ordinary;
    disconnection_init(&l->disconnection);
    sustained_inflation_init(&l->inflation);
    suction_init(&l->suction, l->scale.flow);
    one_way_init(&l->one_way, l->scale.flow);
    rest_init(&l->rest);
    l->breath_ns = -1;
    double c_ml = info->circuit_c_ml_cmh2o;
    l->shut_x = (struct shut_ctx){.ring = r, .noise = &l->noise, .base = &l->seg.base, .flow_scale = l->scale.flow,
                                  .circuit_c_l_cmh2o = isnan(c_ml) ? 0.003 * pow(l->scale.volume, 0.7) : c_ml * 1.5e-3};
    holds_init(&l->holds);
    lane_alike_init(&l->alike);
    l->quiet_from_ns = l->suction_end_ns = -1;
    l->tick_len = ring_count(r, TICK_S);
    *out = l;
    return TM_OK;
}

void lane_destroy(struct lane *l)
{
    if (!l)
        return;
    pending_free(&l->pending);
    free(l);
}

static void tick(struct lane *l, uint64_t from, uint64_t to)
{
    const struct ring *r = l->ring;
    struct event e;
    struct tick t = {.t_ns = ring_at(r, from)->t_ns, .p = ring_p_mean(r, from, to)};
    t.q = ring_q_mean(r, from, to);
    t.q_net = t.q - base_flow_at(&l->seg.base, t.p);
    struct ordinary o = l->ordinary;
    const struct tick whole = t;
    rest_instead(&l->rest, l->breath_ns, l->scale.count_min_l, &o, &t);
    if (disconnection_tick(&l->disconnection, &t, &o, &e))
        lane_event(l, &e);
    if (!l->disconnection.active && suction_tick(&l->suction, &t, &o, &e))
        lane_event(l, &e);
    if (!l->suction.active && !l->disconnection.active && one_way_tick(&l->one_way, &t, &o, &e))
        lane_event(l, &e);
    if (sustained_inflation_tick(&l->inflation, &t, &l->ordinary, &e))
        lane_event(l, &e);
    bool spoiled = l->disconnection.active || l->suction.active || l->one_way.active;
    rest_tick(&l->rest, &whole, l->scale.count_min_l, spoiled || l->disconnection.low_ns >= 0);
    bool silent = l->breath_ns >= 0 && t.t_ns - l->breath_ns > LIVELY_NS;
    holds_tick(&l->holds, &l->shut_x, &t, from, to, &l->habit, spoiled || silent);
    if (l->holds.n_cand > 0)
        lane_holds(l, t.t_ns, false);
    l->seg.no_lesson = sustained_inflation_suspected(&l->inflation) || l->disconnection.low_ns >= 0 || l->disconnection.active ||
                       l->one_way.active || suction_suspected(&l->suction, &o);
    /* Rows leave after 120 s even if the stretch they lie in goes on: what began in it is no breath. One that ends is
     * dropped as a whole. */
    if (l->disconnection.active && t.t_ns - l->disconnection.start_ns > DROP_AFTER_NS)
        pending_drop(&l->pending, &(struct stretch){.from_ns = l->disconnection.start_ns, .to_ns = t.t_ns,
                                                    .keep_breathing = t.t_ns - l->disconnection.start_ns > 60 * NS_PER_S});
}

int lane_follow(struct lane *l)
{
    const struct ring *r = l->ring;
    noise_follow(&l->noise, r);
    if (l->quiet_from_ns < 0 && !l->uncalibrated && r->end > r->begin) {
        l->quiet_from_ns = ring_at(r, r->begin)->t_ns;
        l->unseen = true;
    }
    if (l->uncalibrated)
        return timing_only_follow(&l->timing);
    if (l->tick_at < r->begin + l->tick_len)
        l->tick_at = r->begin + l->tick_len;
    while (l->tick_at <= r->end) {
        tick(l, l->tick_at - l->tick_len, l->tick_at);
        l->tick_at += l->tick_len;
    }
    return seg_follow(&l->seg);
}

int lane_cut(struct lane *l, enum reason why)
{
    struct event e;
    int rc = l->uncalibrated ? timing_only_cut(&l->timing, why) : seg_cut(&l->seg, why);
    if (l->ring->end > l->ring->begin) {
        int64_t now = ring_at(l->ring, l->ring->end - 1)->t_ns;
        lane_apnoea(l, now, why == WHY_gap ? "gap" : "end");
        if (disconnection_cut(&l->disconnection, now, &e))
            lane_event(l, &e);
        if (suction_cut(&l->suction, &e))
            lane_event(l, &e);
        if (one_way_cut(&l->one_way, &e))
            lane_event(l, &e);
        if (sustained_inflation_cut(&l->inflation, &e))
            lane_event(l, &e);
        lane_holds(l, now, true);
        trend_restart(&l->trend, now);
        lane_effort_cut(l);
        lane_alike_cut(l);
    }
    holds_cut(&l->holds);
    l->departed = false;
    l->quiet_from_ns = -1;
    return rc;
}

bool lane_wants(const struct mark *m)
{
    return strcmp(m->kind, "suction") == 0;
}

/* Open suction leaves the trace of a disconnection: a mark of that kind within 120 s names it. */
void lane_mark(struct lane *l, const struct mark *m)
{
    for (int i = 0; i < l->pending.n_events; i++) {
        struct event *e = &l->pending.events[i];
        if (m->at_ns < e->start_ns - MARK_REACH_NS || m->at_ns > e->end_ns + MARK_REACH_NS)
            continue;
        if (e->id == EVENT_suction) {
            e->confidence = CONF_DEFINITE;
        } else if (e->id == EVENT_disconnection) {
            e->id = EVENT_suction;
            e->confidence = CONF_DEFINITE;
            e->values[e->n_values++] = (struct event_value){.key = "kind", .number = (double)NAN, .text = "open"};
            lane_suction_ended(l, e->end_ns);
        }
    }
}

double lane_volume75_l(struct lane *l)
{
    if (l->n_volumes < 3)
        return (double)NAN;
    return order_kth(l->volumes_l, l->n_volumes, (3 * l->n_volumes) / 4);
}
