#include "analyze/session/pattern_rows.h"

static void enter(struct pattern_window *w, const struct pending_row *r)
{
    w->at[w->n++] = (struct pattern_breath){.row = &r->row, .more = &r->more, .exp = &r->exp, .muscle = &r->muscle, .over = &r->over, .beat = &r->beat,
                                            .held = r->exp_held, .alike = r->alike, .hr_per_min = r->hr_per_min};
}

int pattern_row(struct pending *p, uint64_t i, struct flag found[FLAGS_MOST])
{
    struct pattern_window w = {.n = 0, .flow_scale = p->flow_scale, .time_scale = p->time_scale, .rate_hz = p->rate_hz,
                               .effort = p->efforts, .n_efforts = p->n_efforts};
    uint64_t from = i;
    int before = 0, after = 0;
    while (from > p->first && before < PATTERN_REACH)
        before += !pending_at(p, --from)->dropped;
    for (uint64_t k = from; k < p->tail && after <= PATTERN_REACH; k++) {
        const struct pending_row *r = pending_at(p, k);
        if (r->dropped)
            continue;
        if (k == i)
            w.own = w.n;
        after += k >= i;
        enter(&w, r);
    }
    pending_at(p, i)->may_be_limited = flow_limitation_suspected(&w, p->settings.v[PATTERN_flow_limitation]);
    return patterns_judge(&w, &p->settings, &pending_at(p, i)->row, found);
}
