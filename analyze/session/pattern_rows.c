#include "analyze/session/pattern_rows.h"

#define REACH_NS (10 * NS_PER_S) /* no effort lasts for so long */

static void enter(struct pattern_window *w, const struct pending_row *r)
{
    w->at[w->n++] = (struct pattern_breath){.row = &r->row, .more = &r->more, .exp = &r->exp, .muscle = &r->muscle, .over = &r->over, .beat = &r->beat,
                                            .held = r->exp_held, .alike = r->alike, .hr_per_min = r->hr_per_min};
}

/* The efforts that may have to do with the window's breaths: they are in order of their peaks. */
static void efforts_of(const struct pending *p, struct pattern_window *w)
{
    const int64_t from_ns = w->at[0].row->t0_ns - REACH_NS, to_ns = w->at[w->n - 1].row->t2_ns + REACH_NS;
    int a = 0, b = p->n_efforts;
    while (a < b && p->efforts[a].peak_ns < from_ns)
        a++;
    while (b > a && p->efforts[b - 1].peak_ns > to_ns)
        b--;
    w->effort = p->efforts + a;
    w->n_efforts = b - a;
}

int pattern_row(struct pending *p, uint64_t i, struct flag found[FLAGS_MOST])
{
    struct pattern_window w = {.n = 0, .flow_scale = p->flow_scale, .time_scale = p->time_scale, .rate_hz = p->rate_hz};
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
    efforts_of(p, &w);
    pending_at(p, i)->may_be_limited = flow_limitation_suspected(&w, p->settings.v[PATTERN_flow_limitation]);
    return patterns_judge(&w, &p->settings, &pending_at(p, i)->row, found);
}
