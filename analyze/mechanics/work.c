#include "analyze/mechanics/work.h"

/* The ring's volume at a time between samples j and j + 1: samples joined by straight lines. */
static double volume_between(const struct ring_slot *a, const struct ring_slot *b, int64_t t_ns)
{
    double share = (double)(t_ns - a->t_ns) / (double)(b->t_ns - a->t_ns);
    share = share < 0 ? 0 : share > 1 ? 1 : share;
    return a->vol_l + share * ((b->vol_l - a->vol_l) - 0.5 * (1 - share) * (b->q - a->q) * (double)(b->t_ns - a->t_ns) * 1e-9);
}

/* The same from *j on, which follows; at the newest sample its own. */
static double volume_at(const struct ring *r, uint64_t *j, int64_t t_ns)
{
    while (*j + 1 < r->end && ring_at(r, *j + 1)->t_ns <= t_ns)
        ++*j;
    if (*j + 1 >= r->end)
        return ring_at(r, *j)->vol_l;
    return volume_between(ring_at(r, *j), ring_at(r, *j + 1), t_ns);
}

void work_read(const struct ring *r, const struct seg_breath *b, double lag_s, struct work *out)
{
    *out = (struct work){.peep_cmh2o = (double)NAN};
    if (!b->has_t1 || b->i1 <= b->i0 || b->i0 < ring_first(r))
        return;
    const int64_t lag_ns = (int64_t)(lag_s * 1e9);
    uint64_t j = b->i0;
    double v0 = volume_at(r, &j, ring_at(r, b->i0)->t_ns + lag_ns), v = v0, sum = 0;
    double p = ring_at(r, b->i0 + 1)->p; /* the step itself: gas goes in when it is done */
    for (uint64_t i = b->i0 + 1; i <= b->i1; i++) {
        const struct ring_slot *s = ring_at(r, i);
        double next = volume_at(r, &j, s->t_ns + lag_ns);
        sum += 0.5 * (p + s->p) * (next - v);
        p = s->p;
        v = next;
    }
    /* A fall told to the sample began somewhere in the step after it; what is left goes in before it. */
    const int64_t step = ring_at(r, b->i1 + (b->i1 + 1 < r->end))->t_ns - ring_at(r, b->i1)->t_ns;
    const bool to_the_sample = b->fall && b->t1_ns == ring_at(r, b->i1)->t_ns && b->i1 < b->i2;
    double last = volume_at(r, &j, b->t1_ns + lag_ns + (to_the_sample ? step / 2 : 0));
    sum += p * (last - v);
    out->volume_l = last - v0;
    out->cmh2o_l = sum;
    out->there = out->volume_l > 0;
}

double work_per_litre(const struct work *w)
{
    return JOULE_PER_CMH2O_L * (w->cmh2o_l / w->volume_l - w->peep_cmh2o);
}

double work_power(const struct work *w, double rate_per_min)
{
    return JOULE_PER_CMH2O_L * w->cmh2o_l * rate_per_min;
}
