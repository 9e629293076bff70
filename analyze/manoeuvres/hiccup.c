#include "analyze/manoeuvres/hiccup.h"

#include "analyze/breath/order.h"
#include "analyze/manoeuvres/episode.h"

#include <math.h>
#include <string.h>

#define SIZE_CMH2O  5.0
#define RISE_S      0.22
#define LONG_S      0.6
#define SLOWER      1.5
#define OTHERS      4 /* efforts, from which on they are asked */
#define NEAR_NS     (60 * NS_PER_S)
#define QUIET_NS    (45 * NS_PER_S)

static double seconds(int64_t from_ns, int64_t to_ns)
{
    return (double)(to_ns - from_ns) * 1e-9;
}

void hiccup_init(struct hiccup *h)
{
    *h = (struct hiccup){.last_ns = {-1, -1, -1}};
}

bool hiccup_jerk(const struct effort *e, double pace)
{
    return e->peak_cmh2o >= SIZE_CMH2O && seconds(e->start_ns, e->peak_ns) <= RISE_S * pace && seconds(e->start_ns, e->end_ns) <= LONG_S * pace;
}

static bool tell(struct hiccup *h, struct event *out)
{
    if (!h->open || h->count == 0)
        return false;
    const double length = seconds(h->start_ns, h->end_ns);
    *out = (struct event){.start_ns = h->start_ns, .end_ns = h->end_ns, .id = EVENT_hiccup, .confidence = CONF_POSSIBLE, .n_values = 2};
    out->values[0] = (struct event_value){.key = "count", .number = h->count, .decimals = 0};
    out->values[1] = (struct event_value){.key = "bump_cmh2o", .number = h->sum_cmh2o / h->count, .decimals = 1};
    if (h->count > 1 && length > 0)
        out->values[out->n_values++] = (struct event_value){.key = "rate_per_min", .number = 60 * (h->count - 1) / length, .decimals = 1};
    return true;
}

/* Are efforts of this patient that are no jerks slower by half? Without any the jerks stand alone. */
static bool unlike_others(const struct hiccup *h, double rise_s)
{
    double v[HICCUP_OTHERS];
    const int n = h->n_rise < HICCUP_OTHERS ? h->n_rise : HICCUP_OTHERS;
    memcpy(v, h->rise_s, sizeof v);
    return n < OTHERS || order_median(v, n) > SLOWER * rise_s;
}

static void push(struct hiccup *h, const struct effort *e)
{
    for (int k = 2; k > 0; k--) {
        h->last_ns[k] = h->last_ns[k - 1];
        h->first_start_ns[k] = h->first_start_ns[k - 1];
        h->last_cmh2o[k] = h->last_cmh2o[k - 1];
    }
    h->last_ns[0] = e->peak_ns;
    h->first_start_ns[0] = e->start_ns;
    h->last_cmh2o[0] = e->peak_cmh2o;
}

bool hiccup_effort(struct hiccup *h, struct effort *e, double pace, bool *opened, struct event *out)
{
    const double rise = seconds(e->start_ns, e->peak_ns);
    *opened = false;
    bool told = hiccup_until(h, e->start_ns, out);
    if (!hiccup_jerk(e, pace) || !unlike_others(h, rise)) {
        h->rise_s[h->n_rise++ % HICCUP_OTHERS] = rise;
        return told;
    }
    push(h, e);
    if (!h->open && h->last_ns[2] >= 0 && e->peak_ns - h->last_ns[2] <= NEAR_NS) {
        h->open = *opened = true;
        h->start_ns = h->first_start_ns[2];
        h->count = 2;
        h->sum_cmh2o = h->last_cmh2o[1] + h->last_cmh2o[2];
    }
    e->hiccup = h->open;
    if (!h->open)
        return told;
    h->count++;
    h->sum_cmh2o += e->peak_cmh2o;
    h->end_ns = e->end_ns;
    if (h->end_ns - h->start_ns < EPISODE_MOST_NS || told)
        return told;
    told = tell(h, out);
    h->start_ns = h->end_ns;
    h->count = 0;
    h->sum_cmh2o = 0;
    return told;
}

bool hiccup_until(struct hiccup *h, int64_t now_ns, struct event *out)
{
    if (!h->open || (now_ns != INT64_MAX && now_ns - h->end_ns < QUIET_NS))
        return false;
    const bool told = tell(h, out);
    h->open = false;
    h->last_ns[0] = h->last_ns[1] = h->last_ns[2] = -1;
    return told;
}
