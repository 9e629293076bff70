#include "analyze/session/clusters.h"

#define WINDOW_NS (CLUSTER_WINDOW_S * INT64_C(1000000000))

static int64_t oldest(const struct clusters *c)
{
    return c->at_ns[(c->seen - c->in_window) % CLUSTER_RING];
}

static void grow(struct clusters *c, int64_t at_ns)
{
    const int64_t start = oldest(c);
    if (c->n == 0 || start > c->last.end_ns) {
        c->done_ns = clusters_total_ns(c);
        c->n++;
        c->last_from = c->seen - c->in_window;
        c->last = (struct cluster){.start_ns = start, .end_ns = at_ns};
    }
    c->last.end_ns = at_ns;
    c->last.n = c->seen - c->last_from;
    if (c->in_window > c->last.peak)
        c->last.peak = c->in_window;
    if (c->n <= CLUSTERS_KEPT)
        c->kept[c->n - 1] = c->last;
}

void clusters_add(struct clusters *c, int64_t at_ns)
{
    if (c->in_window > 0 && at_ns < c->at_ns[(c->seen - 1) % CLUSTER_RING])
        at_ns = c->at_ns[(c->seen - 1) % CLUSTER_RING];
    while (c->in_window > 0 && (oldest(c) <= at_ns - WINDOW_NS || c->in_window == CLUSTER_RING))
        c->in_window--;
    c->at_ns[c->seen % CLUSTER_RING] = at_ns;
    c->seen++;
    c->in_window++;
    if (c->in_window > CLUSTER_OVER)
        grow(c, at_ns);
}

int64_t clusters_total_ns(const struct clusters *c)
{
    return c->done_ns + (c->n > 0 ? c->last.end_ns - c->last.start_ns : 0);
}
