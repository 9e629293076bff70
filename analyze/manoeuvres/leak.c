#include "analyze/manoeuvres/leak.h"

#include <math.h>

#define OPEN_PCT     15.0
#define CLOSE_PCT    10.0
#define DEFINITE_PCT 20.0

static const struct episode_rule rule = {.of = 10, .open = 10, .close = 0, .least_ns = 20 * NS_PER_S};

static bool event_of(bool told, const struct episode_end *e, struct event *out)
{
    if (!told)
        return false;
    *out = (struct event){.start_ns = e->start_ns, .end_ns = e->end_ns, .id = EVENT_leak,
                          .confidence = e->mean[0] >= DEFINITE_PCT ? CONF_DEFINITE : CONF_POSSIBLE, .n_values = 2};
    out->values[0] = (struct event_value){.key = "leak_pct", .number = e->mean[0], .decimals = 0};
    out->values[1] = (struct event_value){.key = "leak_l_min", .number = e->mean[1], .decimals = 2};
    return true;
}

bool leak_breath(struct leak_watch *w, const struct breath_row *row, double net_l, struct event *out)
{
    struct episode_end e;
    const double pct = row->v[COL_leak_pct], v[EPISODE_MEASURES] = {pct, 60 * net_l / ((double)(row->t2_ns - row->t0_ns) * 1e-9), 0};
    if (isnan(pct)) /* not known: neither for it nor against it */
        return false;
    return event_of(episode_breath(&w->episode, &rule, row->t0_ns, row->t2_ns, pct >= (w->episode.open ? CLOSE_PCT : OPEN_PCT), v, &e), &e, out);
}

bool leak_watch_forget(struct leak_watch *w, int64_t from_ns, struct event *out)
{
    struct episode *e = &w->episode;
    struct episode_end end;
    if (!e->open || e->start_ns > from_ns - rule.least_ns) {
        *e = (struct episode){.n = 0};
        return false;
    }
    if (e->end_ns > from_ns)
        e->end_ns = from_ns;
    return event_of(episode_cut(e, &rule, &end), &end, out);
}

bool leak_cut(struct leak_watch *w, struct event *out)
{
    struct episode_end e;
    return event_of(episode_cut(&w->episode, &rule, &e), &e, out);
}
