#include "analyze/manoeuvres/condensate.h"

#include "analyze/breath/extreme.h"

#define LEAST_CMH2O 0.1
#define NOISES      1.5
#define LIMB        5.0
#define LIMBS       3.0
#define TOGETHER    0.2
#define IN_SHARE    0.25
#define IN_LEAST    30 /* points, 0.5 s */
#define MOST_HZ     12.0
#define GAIN_LEAST  0.3

static const struct episode_rule rule = {.of = 12, .open = 6, .close = 2, .least_ns = 30 * NS_PER_S};

static bool event_of(bool told, const struct episode_end *e, struct event *out)
{
    if (!told)
        return false;
    *out = (struct event){.start_ns = e->start_ns, .end_ns = e->end_ns, .id = EVENT_condensate, .confidence = CONF_POSSIBLE, .n_values = 3};
    out->values[0] = (struct event_value){.key = "hz", .number = e->mean[0], .decimals = 1};
    out->values[1] = (struct event_value){.key = "ripple_cmh2o", .number = e->mean[1], .decimals = 2};
    out->values[2] = (struct event_value){.key = "breaths_pct", .number = 100.0 * e->hits / e->breaths, .decimals = 0};
    return true;
}

static bool shows(const struct ripple *p, const struct ripple *q, const struct ripple *in, double flow_scale)
{
    if (p->n == 0 || q->n == 0 || p->hz > MOST_HZ || p->gain < GAIN_LEAST)
        return false;
    const double more = ripple_excess(p, 0);
    if (more < LEAST_CMH2O * p->gain || p->rms < NOISES * p->noise)
        return false;
    const double flow = ripple_excess(q, 0);
    const bool same_way = ripple_together(p, q) > TOGETHER, stands_alone = more > LIMBS * LIMB / flow_scale * flow;
    return (same_way || stands_alone) && (in->n < IN_LEAST || ripple_excess(in, 0) > IN_SHARE * more);
}

bool condensate_breath(struct condensate *s, const struct seg_breath *b, const struct ripple *p, const struct ripple *q,
                       const struct ripple *in, double flow_scale, struct event *out)
{
    struct episode_end e;
    const bool hit = shows(p, q, in, flow_scale);
    double v[EPISODE_MEASURES] = {0};
    if (hit) {
        v[0] = p->hz;
        v[1] = ripple_excess(p, 0) / p->gain;
    }
    return event_of(episode_breath(&s->episode, &rule, b->t0_ns, b->t2_ns, hit, v, &e), &e, out);
}

bool condensate_cut(struct condensate *s, struct event *out)
{
    struct episode_end e;
    return event_of(episode_cut(&s->episode, &rule, &e), &e, out);
}
