#include "analyze/manoeuvres/episode.h"

static void add(struct episode *e, uint64_t k)
{
    e->breaths++;
    if (!e->last[k % EPISODE_BREATHS].hit)
        return;
    e->hits++;
    e->end_ns = e->last[k % EPISODE_BREATHS].t2_ns;
    for (int i = 0; i < EPISODE_MEASURES; i++)
        e->sum[i] += (double)e->last[k % EPISODE_BREATHS].v[i];
}

static void begin(struct episode *e, uint64_t first)
{
    e->open = true;
    e->hits = e->breaths = 0;
    for (int i = 0; i < EPISODE_MEASURES; i++)
        e->sum[i] = 0;
    while (first + 1 < e->n && !e->last[first % EPISODE_BREATHS].hit)
        first++;
    e->start_ns = e->last[first % EPISODE_BREATHS].t0_ns;
    e->end_ns = e->last[first % EPISODE_BREATHS].t2_ns;
    for (uint64_t k = first; k < e->n; k++)
        add(e, k);
}

static bool tell(struct episode *e, const struct episode_rule *r, struct episode_end *out)
{
    if (!e->open || e->hits == 0 || (!e->goes_on && e->end_ns - e->start_ns < r->least_ns))
        return false;
    *out = (struct episode_end){.start_ns = e->start_ns, .end_ns = e->end_ns, .hits = e->hits, .breaths = e->breaths};
    for (int i = 0; i < EPISODE_MEASURES; i++)
        out->mean[i] = e->sum[i] / e->hits;
    return true;
}

bool episode_breath(struct episode *e, const struct episode_rule *r, int64_t t0_ns, int64_t t2_ns, bool hit,
                    const double v[EPISODE_MEASURES], struct episode_end *out)
{
    const uint64_t at = e->n++ % EPISODE_BREATHS, of = (uint64_t)r->of;
    e->last[at].t0_ns = t0_ns;
    e->last[at].t2_ns = t2_ns;
    e->last[at].hit = hit;
    for (int i = 0; i < EPISODE_MEASURES; i++)
        e->last[at].v[i] = hit ? (float)v[i] : 0;
    const uint64_t from = e->n > of ? e->n - of : 0;
    int hits = 0;
    for (uint64_t k = from; k < e->n; k++)
        hits += e->last[k % EPISODE_BREATHS].hit;
    if (!e->open) {
        if (hits >= r->open)
            begin(e, from);
        return false;
    }
    add(e, e->n - 1);
    const bool ends = e->n >= of && hits <= r->close, late = e->end_ns - e->start_ns >= EPISODE_MOST_NS;
    if (!ends && !late)
        return false;
    const bool told = tell(e, r, out);
    if (ends) {
        e->open = e->goes_on = false;
    } else { /* the next part begins where this one ends */
        e->start_ns = e->end_ns;
        e->goes_on = true;
        e->hits = e->breaths = 0;
        for (int i = 0; i < EPISODE_MEASURES; i++)
            e->sum[i] = 0;
    }
    return told;
}

bool episode_cut(struct episode *e, const struct episode_rule *r, struct episode_end *out)
{
    const bool told = tell(e, r, out);
    *e = (struct episode){.n = 0};
    return told;
}
