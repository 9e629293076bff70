#include "analyze/manoeuvres/cough.h"

#include "analyze/breath/extreme.h"

#include <math.h>

#define DEPTH_CMH2O 10.0
#define FALL_S      0.2
#define GONE_S      0.25
#define GONE_SHARE  0.6
#define FLOW_L_S    0.15
#define R_MOST      60.0 /* cmH2O s/L: where a limited lung's constants make more of a flow, no muscle did it */
#define LONE_L_S    0.5  /* of a single spike: a gust */
#define LONE_CMH2O  15.0
#define INFLATING_L_S 0.1
#define TURN_S      0.2
#define MORE        1.3
#define PEAK_S      0.5
#define HABIT       4
#define HABIT_OF    12
#define APART_NS    (3 * NS_PER_S / 2)

/* The deepest point k: how far below the higher of what stood within reach before it and of what comes back after it. */
static bool spike_at(const struct effort_curve *c, int k, int before, int after, int *a, int *b)
{
    int high = k;
    for (int i = k; i >= 0 && i >= k - before; i--)
        if (c->p[i] > c->p[high])
            high = i;
    const double depth = c->p[high] - c->p[k];
    if (depth < DEPTH_CMH2O)
        return false;
    int i = k;
    while (i < c->n && i <= k + after && c->p[i] - c->p[k] < GONE_SHARE * depth)
        i++;
    *a = high;
    *b = i;
    return i < c->n && i <= k + after;
}

double cough_peak_out(const struct effort_curve *c, int64_t turn_ns)
{
    int k = (int)((double)(turn_ns - c->from_ns) * 1e-9 / c->step_s), end = k + (int)(PEAK_S / c->step_s);
    double least = 0;
    for (k = k < 0 ? 0 : k; k < end && k < c->n; k++)
        least = smaller(least, c->q[k]);
    return -least;
}

int cough_spikes(const struct effort_curve *c, const struct cough_in *in, struct cough_spike out[COUGH_SPIKES])
{
    const double flow_scale = in->flow_scale;
    const int before = (int)(FALL_S * c->pace / c->step_s + 0.5), after = (int)(GONE_S * c->pace / c->step_s + 0.5);
    int n = 0;
    for (int k = before; k + 1 < c->n && n < COUGH_SPIKES; k++) {
        /* Few points pass the first question. */
        if (c->p[k - before] - c->p[k] < 0.5 * DEPTH_CMH2O || c->p[k] > c->p[k - 1] || c->p[k] > c->p[k + 1])
            continue;
        const int64_t at = c->from_ns + (int64_t)(k * c->step_s * 1e9);
        int a, b;
        if (at < in->from_ns || at >= in->to_ns || !spike_at(c, k, before, after, &a, &b))
            continue;
        double out_most = c->q[k];
        for (int i = a; i <= b; i++)
            out_most = smaller(out_most, c->q[i]);
        const double gust = c->q[a] - out_most;
        const double depth = c->p[a] - c->p[k];
        const int64_t fall_ns = c->from_ns + (int64_t)(a * c->step_s * 1e9);
        const bool turns = fall_ns > in->turn_ns - (int64_t)(TURN_S * 1e9) && fall_ns < in->turn_ns + (int64_t)(TURN_S * 1e9);
        if (turns && !(-out_most > MORE * in->usual_out_l_s))
            continue;
        const bool inflating = c->q[k] > INFLATING_L_S * flow_scale;
        if (!inflating && (gust < FLOW_L_S * flow_scale || depth > R_MOST / flow_scale * gust))
            continue;
        out[n++] = (struct cough_spike){.from_ns = fall_ns,
                                        .to_ns = c->from_ns + (int64_t)(b * c->step_s * 1e9),
                                        .depth_cmh2o = depth, .flow_l_s = gust,
                                        .strong = gust >= LONE_L_S * flow_scale || (inflating && depth >= LONE_CMH2O)};
        k = b;
    }
    return n;
}

bool cough_is_habit(struct cough *s, bool spike)
{
    int seen = 0;
    for (int i = 0; i < HABIT_OF; i++)
        seen += (s->breaths >> i & 1u) != 0;
    s->breaths = s->breaths << 1 | (spike ? 1u : 0u);
    return seen >= HABIT;
}

bool cough_is(const struct cough *s)
{
    return s->open && (s->peaks >= 2 || s->strong);
}

static bool tell(struct cough *s, struct event *out)
{
    const bool told = cough_is(s);
    if (told) {
        *out = (struct event){.start_ns = s->start_ns, .end_ns = s->end_ns, .id = EVENT_cough, .n_values = 3,
                              .confidence = s->peaks >= 2 ? CONF_DEFINITE : CONF_POSSIBLE};
        out->values[0] = (struct event_value){.key = "peaks", .number = s->peaks, .decimals = 0};
        out->values[1] = (struct event_value){.key = "push_cmh2o", .number = s->depth_cmh2o, .decimals = 1};
        out->values[2] = (struct event_value){.key = "flow_l_min", .number = 60 * s->flow_l_s, .decimals = 1};
    }
    s->open = false;
    return told;
}

bool cough_spike(struct cough *s, const struct cough_spike *x, struct event *out)
{
    const bool told = s->open && x->from_ns - s->end_ns > APART_NS && tell(s, out);
    if (!s->open)
        *s = (struct cough){.open = true, .start_ns = x->from_ns, .usual_out_l_s = s->usual_out_l_s, .breaths = s->breaths};
    s->end_ns = x->to_ns;
    s->peaks++;
    s->strong = s->strong || x->strong;
    s->depth_cmh2o = larger(s->depth_cmh2o, x->depth_cmh2o);
    s->flow_l_s = larger(s->flow_l_s, x->flow_l_s);
    return told;
}

bool cough_until(struct cough *s, int64_t now_ns, struct event *out)
{
    return s->open && (now_ns == INT64_MAX || now_ns - s->end_ns > APART_NS) && tell(s, out);
}
