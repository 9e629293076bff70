#include "analyze/manoeuvres/nebulisation.h"

#include "analyze/breath/order.h"
#include "analyze/manoeuvres/episode.h"

#include <math.h>

#define SIDE       8   /* breaths before and after the step */
#define ON         3   /* the step takes so many */
#define LEAST_L_S  0.06
#define MOST_L_S   0.18
#define STEADY_L_S 0.03
#define BEFORE_L_S 0.03 /* outwards: nothing of the kind was there yet */
#define LEAST_NS   (60 * NS_PER_S)
#define BACK       0.5
#define MISSES     2

struct level {
    double out, end, vt, sd_out;
};

static struct level level_of(const struct nebulisation *s, uint64_t from, int n)
{
    double out[SIDE], end[SIDE], vt[SIDE];
    struct level x;
    for (int k = 0; k < n; k++) {
        uint64_t i = (from + (uint64_t)k) % NEBULISATION_BREATHS;
        out[k] = s->last[i].out_l_s;
        end[k] = s->last[i].end_l_s;
        vt[k] = s->last[i].vt_l;
    }
    x.out = order_median(out, n);
    x.end = order_median(end, n);
    x.vt = order_median(vt, n);
    for (int k = 0; k < n; k++) {
        out[k] = fabs(out[k] - x.out);
    }
    x.sd_out = 1.48 * order_median(out, n);
    return x;
}

static bool tell(struct nebulisation *s, struct event *out)
{
    if (!s->open || s->breaths == 0)
        return false;
    *out = (struct event){.start_ns = s->told_from_ns, .end_ns = s->end_ns, .id = EVENT_nebulisation, .confidence = CONF_POSSIBLE,
                          .n_values = 3};
    out->values[0] = (struct event_value){.key = "added_l_min", .number = 60 * (s->after_l_s - s->before_l_s), .decimals = 1};
    out->values[1] = (struct event_value){.key = "place", .number = (double)NAN, .text = "behind_sensor"};
    out->values[2] = (struct event_value){.key = "vt_change_ml", .number = 1000 * (s->vt_sum_l / s->breaths - s->vt_before_l), .decimals = 0};
    return true;
}

/* Did the last SIDE breaths stand outwards of the SIDE before the step? */
static void begin(struct nebulisation *s)
{
    const uint64_t after = s->n - SIDE, before = after - ON - SIDE;
    struct level a = level_of(s, before, SIDE), b = level_of(s, after, SIDE);
    const double step = b.out - a.out, at_end = b.end - a.end;
    if (step < LEAST_L_S || step > MOST_L_S || at_end < 0.6 * step || at_end > 1.6 * step || b.out < LEAST_L_S || a.out > BEFORE_L_S ||
        b.sd_out > STEADY_L_S)
        return;
    uint64_t first = after - ON;
    while (first + 1 < s->n && s->last[first % NEBULISATION_BREATHS].out_l_s < a.out + BACK * step)
        first++;
    s->stands = true;
    s->open = false;
    s->before_l_s = a.out;
    s->after_l_s = b.out;
    s->vt_before_l = a.vt;
    s->vt_sum_l = 0;
    s->breaths = s->misses = 0;
    s->start_ns = s->told_from_ns = s->last[first % NEBULISATION_BREATHS].t0_ns;
    for (uint64_t k = first; k < s->n; k++, s->breaths++)
        s->vt_sum_l += s->last[k % NEBULISATION_BREATHS].vt_l;
    s->end_ns = s->last[(s->n - 1) % NEBULISATION_BREATHS].t2_ns;
}

bool nebulisation_breath(struct nebulisation *s, const struct breath_row *row, double net_l, struct event *out)
{
    const double seconds = (double)(row->t2_ns - row->t0_ns) * 1e-9, end = row->v[COL_end_exp_flow_l_s], vt = row->v[COL_vti_ml];
    if (isnan(end) || isnan(vt) || !(seconds > 0))
        return false;
    const uint64_t at = s->n++ % NEBULISATION_BREATHS;
    s->last[at].t0_ns = row->t0_ns;
    s->last[at].t2_ns = row->t2_ns;
    s->last[at].out_l_s = -net_l / seconds;
    s->last[at].end_l_s = end;
    s->last[at].vt_l = vt / 1000;
    if (!s->stands) {
        if (s->n >= 2 * SIDE + ON && s->last[at].out_l_s > LEAST_L_S)
            begin(s);
        return false;
    }
    if (s->last[at].out_l_s < s->after_l_s - BACK * (s->after_l_s - s->before_l_s)) {
        if (++s->misses < MISSES)
            return false;
        const bool told = tell(s, out);
        s->stands = s->open = false;
        return told;
    }
    s->misses = 0;
    s->end_ns = row->t2_ns;
    s->vt_sum_l += vt / 1000;
    s->breaths++;
    s->open = s->open || s->end_ns - s->start_ns >= LEAST_NS;
    if (s->end_ns - s->told_from_ns < EPISODE_MOST_NS)
        return false;
    const bool told = tell(s, out);
    s->told_from_ns = s->end_ns;
    s->vt_sum_l = 0;
    s->breaths = 0;
    return told;
}

bool nebulisation_cut(struct nebulisation *s, struct event *out)
{
    const bool told = tell(s, out);
    *s = (struct nebulisation){.n = 0};
    return told;
}
