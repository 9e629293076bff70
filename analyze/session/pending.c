#include "analyze/session/pending.h"

#include "analyze/session/drive_cells.h"
#include "analyze/session/pattern_rows.h"
#include "analyze/session/static_cells.h"
#include "analyze/session/work_cells.h"

#include <stdlib.h>
#include <string.h>

#define EFFORT_BEFORE_NS (NS_PER_S / 33)
#define FORGET_AT 64 /* efforts at once */

int pending_init(struct pending *p, double flow_scale, double rate_hz)
{
    memset(p, 0, sizeof *p);
    p->flow_scale = flow_scale;
    p->rate_hz = rate_hz;
    p->rows = malloc(PENDING_ROWS * sizeof *p->rows);
    p->events = malloc(PENDING_EVENTS * sizeof *p->events);
    p->efforts = malloc(PENDING_EFFORTS * sizeof *p->efforts);
    if (p->rows && p->events && p->efforts)
        return TM_OK;
    pending_free(p);
    return TM_ERR_MEMORY;
}

void pending_free(struct pending *p)
{
    free(p->rows);
    free(p->events);
    free(p->efforts);
    p->rows = NULL;
    p->events = NULL;
    p->efforts = NULL;
}

struct pending_row *pending_add(struct pending *p)
{
    struct pending_row *r = pending_at(p, p->tail++);
    memset(r, 0, sizeof *r);
    for (int c = 0; c < COL_N; c++)
        r->row.v[c] = (double)NAN;
    r->exp.why = r->exp.why_tail = WHY_gap;
    r->drive.start_ns = -1;
    return r;
}

static void forget_efforts(struct pending *p, int n)
{
    p->n_efforts -= n;
    p->efforts_left -= n < p->efforts_left ? n : p->efforts_left;
    memmove(p->efforts, p->efforts + n, (size_t)p->n_efforts * sizeof *p->efforts);
}

void pending_effort(struct pending *p, const struct effort *e)
{
    if (p->n_efforts == PENDING_EFFORTS)
        forget_efforts(p, 1);
    p->efforts[p->n_efforts++] = *e;
}

/* Those that ended 120 s ago. */
static int release_efforts(struct pending *p, int64_t now_ns, bool all, const struct engine_sink *sink)
{
    int rc = TM_OK, old = 0;
    while (rc == TM_OK && p->efforts_left < p->n_efforts && (all || p->efforts[p->efforts_left].end_ns + HOLD_NS <= now_ns)) {
        if (sink->effort)
            rc = sink->effort(sink->user, &p->efforts[p->efforts_left]);
        p->efforts_left++;
    }
    while (old < p->efforts_left && p->efforts[old].peak_ns < pending_at(p, p->first)->row.t0_ns)
        old++;
    if (old >= FORGET_AT)
        forget_efforts(p, old);
    return rc;
}

void pending_event(struct pending *p, const struct event *e)
{
    if (p->n_events == PENDING_EVENTS) /* cannot be: events are seconds apart and leave after 120 s */
        return;
    int i = p->n_events++;
    while (i > 0 && p->events[i - 1].end_ns > e->end_ns) {
        p->events[i] = p->events[i - 1];
        i--;
    }
    p->events[i] = *e;
}

void pending_owns(struct pending *p, const struct event *owner, enum event_id id)
{
    int kept = 0;
    for (int i = 0; i < p->n_events; i++) {
        const struct event *e = &p->events[i];
        int64_t from = e->start_ns > owner->start_ns ? e->start_ns : owner->start_ns;
        int64_t to = e->end_ns < owner->end_ns ? e->end_ns : owner->end_ns;
        if (e->id == id && 2 * (to - from) > e->end_ns - e->start_ns)
            continue;
        p->events[kept++] = *e;
    }
    p->n_events = kept;
}

void pending_take_back(struct breath_row *row, enum reason why)
{
    static const enum col fits[] = {COL_fit_crs_ml_cmh2o, COL_fit_r_cmh2o_s_l, COL_fit_re_cmh2o_s_l,
                                    COL_fit_p0_cmh2o, COL_fit_r2, COL_cdyn_ml_cmh2o};
    for (size_t i = 0; i < sizeof fits / sizeof fits[0]; i++)
        if (!isnan(row->v[fits[i]]))
            row_empty(row, fits[i], why);
}

static void mark_event(struct breath_row *row)
{
    row_quality(row, WHY_event);
    pending_take_back(row, WHY_event);
    row_empty(row, COL_effort, WHY_event);
}

void pending_drop(struct pending *p, const struct stretch *s)
{
    for (uint64_t i = p->head; i < p->tail; i++) {
        struct pending_row *r = pending_at(p, i);
        bool breathes = r->more.vte_l >= 0.5 * r->more.vti_l;
        bool refills = s->refilled_ns && r->row.t0_ns >= s->to_ns && r->row.t0_ns < s->to_ns + s->refilled_ns && !breathes;
        if (refills) /* pressure is back, and gas goes in to stay */
            r->dropped = true;
        if (r->row.t2_ns <= s->from_ns || r->row.t0_ns >= s->to_ns)
            continue;
        mark_event(&r->row);
        bool begins = r->row.t0_ns >= s->from_ns, runs_in = s->drop_inspiring && r->row.t1_ns > s->from_ns;
        if ((begins || runs_in) && !(s->keep_breathing && breathes))
            r->dropped = true;
    }
}

void pending_unknown(struct pending *p, int64_t from_ns)
{
    static const enum col windows[] = {COL_leak_pct, COL_ve_l_min};
    for (uint64_t i = p->head; i < p->tail; i++) {
        struct breath_row *row = &pending_at(p, i)->row;
        if (row->t2_ns <= from_ns)
            continue;
        for (size_t k = 0; k < sizeof windows / sizeof windows[0]; k++)
            if (!isnan(row->v[windows[k]]))
                row_empty(row, windows[k], WHY_event);
    }
}

void pending_touch(struct pending *p, int64_t from_ns, int64_t to_ns, enum reason code)
{
    for (uint64_t i = p->head; i < p->tail; i++) {
        struct breath_row *row = &pending_at(p, i)->row;
        if (row->t2_ns <= from_ns || row->t0_ns >= to_ns)
            continue;
        if (code == WHY_event)
            mark_event(row);
        else
            row_quality(row, code);
    }
}

/* What the efforts say of who began the breath: one under way before it, or, where efforts can be told, none. */
static enum effort_sign effort_sign(const struct pending *p, const struct breath_row *row)
{
    for (int i = 0; i < p->n_efforts; i++) {
        const struct effort *e = &p->efforts[i];
        if (effort_under_way(e, row->t0_ns, -EFFORT_BEFORE_NS, EFFORT_BEFORE_NS))
            return EFFORT_BEGAN_IT;
        if (effort_under_way(e, row->t0_ns, EFFORT_BEFORE_NS, 0))
            return EFFORT_UNKNOWN;
    }
    return isnan(row->v[COL_effort]) ? EFFORT_UNKNOWN : EFFORT_NOT_BEFORE;
}

/* Kind, initiation and control of the oldest waiting row, among its neighbours that are breaths. */
static void classify_head(struct pending *p, const struct noise *z, double heart_l_s)
{
    struct classify_item v[2 * CLASSIFY_REACH + 1];
    int before = 0, n = 0;
    uint64_t i = p->head;
    while (i > p->first && before < CLASSIFY_REACH)
        before += !pending_at(p, --i)->dropped;
    int at = 0;
    for (int after = 0; i < p->tail && after <= CLASSIFY_REACH; i++) {
        struct pending_row *r = pending_at(p, i);
        if (r->dropped)
            continue;
        if (i == p->head)
            at = n;
        if (i >= p->head)
            after++;
        v[n].row = &r->row;
        v[n].more = &r->more;
        n++;
    }
    struct breath_row *row = &pending_at(p, p->head)->row;
    classify_breath(v, n, at, p->flow_scale, p->rate_hz, z, heart_l_s, effort_sign(p, row), row);
    if (row->initiation == INIT_PATIENT) /* who starts a breath has muscles at work in it */
        pending_take_back(row, WHY_effort_suspected);
}

static int release_row(struct pending *p, const struct noise *z, double heart_l_s, const struct engine_sink *sink)
{
    struct pending_row *r = pending_at(p, p->head);
    int rc = TM_OK;
    if (!r->dropped) {
        if (!isnan(r->row.v[COL_vti_ml]) || r->row.why[COL_vti_ml] != WHY_no_calib)
            classify_head(p, z, heart_l_s);
        if (!p->uncalibrated)
            static_cells(p, p->head, z);
        if (!p->uncalibrated)
            work_cells(p, p->head);
        if (!p->uncalibrated)
            drive_cells(p, p->head);
        r->row.number = ++p->released_rows;
        r->row.v[COL_breath] = (double)r->row.number;
        struct flag found[FLAGS_MOST];
        const int n = pattern_row(p, p->head, found);
        if (r->may_be_limited)
            static_limited(&r->row);
        rc = sink->row(sink->user, &r->row);
        for (int k = 0; rc == TM_OK && sink->flag && k < n; k++)
            rc = sink->flag(sink->user, &found[k]);
    }
    p->head++;
    while (p->head - p->first > 3 * CLASSIFY_REACH)
        p->first++;
    return rc;
}

static int release_event(struct pending *p, struct event *e, const struct engine_sink *sink)
{
    static_event(p, e);
    return sink->event(sink->user, e);
}

int pending_release(struct pending *p, int64_t now_ns, bool all, const struct noise *z, double heart_l_s, const struct engine_sink *sink)
{
    int rc = TM_OK;
    while (rc == TM_OK && p->head < p->tail &&
           (all || pending_full(p) || pending_at(p, p->head)->row.t2_ns + HOLD_NS <= now_ns))
        rc = release_row(p, z, heart_l_s, sink);
    int k = 0;
    while (rc == TM_OK && k < p->n_events && (all || p->events[k].end_ns + HOLD_NS <= now_ns))
        rc = release_event(p, &p->events[k++], sink);
    p->released_events += (uint64_t)k;
    p->n_events -= k;
    memmove(p->events, p->events + k, (size_t)p->n_events * sizeof *p->events);
    return rc == TM_OK ? release_efforts(p, now_ns, all, sink) : rc;
}
