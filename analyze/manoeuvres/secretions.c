#include "analyze/manoeuvres/secretions.h"

#include "analyze/breath/extreme.h"

#define LEAST_L_S   0.012
#define NOISES      1.5
#define CROSSINGS   5
#define LASTING     0.5
#define LEAST_HZ    3.5
#define MOST_HZ     18.0
#define GAIN_LEAST  0.4

static const struct episode_rule rule = {.of = 12, .open = 7, .close = 2, .least_ns = 30 * NS_PER_S};

static bool event_of(bool told, const struct episode_end *e, struct event *out)
{
    if (!told)
        return false;
    *out = (struct event){.start_ns = e->start_ns, .end_ns = e->end_ns, .id = EVENT_secretions, .confidence = CONF_POSSIBLE, .n_values = 3};
    out->values[0] = (struct event_value){.key = "hz", .number = e->mean[0], .decimals = 1};
    out->values[1] = (struct event_value){.key = "flow_l_min", .number = 60 * e->mean[1], .decimals = 2};
    out->values[2] = (struct event_value){.key = "breaths_pct", .number = 100.0 * e->hits / e->breaths, .decimals = 0};
    return true;
}

bool secretions_breath(struct secretions *s, const struct seg_breath *b, const struct ripple *fast, const struct ripple *slow,
                       double flow_scale, struct event *out)
{
    struct episode_end e;
    double v[EPISODE_MEASURES] = {0};
    bool hit = false;
    if (fast->n > 0) {
        const double still = slow->n > 0 ? slow->rms : 0, more = ripple_excess(fast, still);
        hit = fast->hz > LEAST_HZ && fast->hz < MOST_HZ && fast->crossings >= CROSSINGS && fast->gain > GAIN_LEAST &&
              fast->rms > NOISES * larger(fast->noise, still) && more > LEAST_L_S * flow_scale * fast->gain && ripple_lasting(fast) > LASTING;
        v[0] = fast->hz;
        v[1] = more / fast->gain;
    }
    return event_of(episode_breath(&s->episode, &rule, b->t0_ns, b->t2_ns, hit, v, &e), &e, out);
}

bool secretions_cut(struct secretions *s, struct event *out)
{
    struct episode_end e;
    return event_of(episode_cut(&s->episode, &rule, &e), &e, out);
}
