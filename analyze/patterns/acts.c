#include "analyze/patterns/acts.h"

#define LATE_NS   (NS_PER_S / 20) /* an effort's start may be found so much after the valve that it opened */
#define ANSWER_NS (NS_PER_S / 10)

/* What starts later than this did not start the breath. */
static int64_t latest(const struct breath_row *row)
{
    return row->t0_ns + (row->initiation == INIT_PATIENT ? LATE_NS : 0);
}

const struct effort *acts_own(const struct pattern_window *w, int k)
{
    const int64_t t0 = w->at[k].row->t0_ns;
    const struct effort *own = NULL;
    for (int i = 0; i < w->n_efforts; i++) {
        const struct effort *e = &w->effort[i];
        if (effort_under_way(e, t0, latest(w->at[k].row) - t0, -LATE_NS))
            own = e;
    }
    return own;
}

bool acts_answered(const struct pattern_window *w, const struct effort *e)
{
    for (int k = 0; k < w->n; k++) {
        const int64_t t0 = w->at[k].row->t0_ns;
        if (latest(w->at[k].row) >= e->start_ns && t0 < e->neural_end_ns + ANSWER_NS)
            return true;
    }
    return false;
}

const struct effort *acts_next(const struct pattern_window *w, int k, int *from)
{
    const struct breath_row *row = w->at[k].row;
    while (*from < w->n_efforts) {
        const struct effort *e = &w->effort[(*from)++];
        if (e->start_ns >= row->t0_ns && e->start_ns < row->t2_ns)
            return e;
    }
    return NULL;
}

enum reason acts_unfit(const struct pattern_window *w, int k)
{
    const struct breath_row *row = w->at[k].row;
    if (row->quality & UINT64_C(1) << WHY_gap)
        return WHY_gap;
    if (row->quality & UINT64_C(1) << WHY_event)
        return WHY_event;
    if (isnan(row->v[COL_effort]))
        return row->why[COL_effort] ? (enum reason)row->why[COL_effort] : WHY_no_mechanics;
    return WHY_NONE;
}

bool acts_over_heart(const struct pattern_window *w, int k, const struct effort *e, double ratio)
{
    const struct muscle *m = w->at[k].muscle;
    return !m->read || e->peak_cmh2o >= ratio * m->heart_cmh2o;
}

bool acts_at_spike(const struct pattern_window *w, int k, const struct effort *e)
{
    const double after_s = acts_s(w->at[k].row->t1_ns, e->start_ns) / w->time_scale;
    return after_s > -0.1 && after_s < 0.3 && flow_limitation_shape(w->at[k].exp, w->time_scale);
}

bool acts_triggered(const struct breath_row *row)
{
    return row->kind == KIND_SUPPORTED || row->kind == KIND_ASSISTED;
}

const char *acts_quality(enum mechanics_quality q)
{
    static const char *const word[] = {"none", "poor", "fair", "good"};
    return word[q];
}

void acts_evidence(struct pattern_verdict *o, const struct effort *e)
{
    evidence_number(o, "effort_cmh2o", e->peak_cmh2o, 2);
    evidence_number(o, "sd_cmh2o", e->sd_cmh2o, 2);
    evidence_word(o, "mechanics", acts_quality(e->quality));
    if (!e->hiccup)
        return;
    o->confidence = CONF_POSSIBLE;
    evidence_word(o, "alike", "hiccup");
}
