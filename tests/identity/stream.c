#include "tests/identity/stream.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

double stream_random(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (double)(*state >> 11) / 9007199254740992.0;
}

struct lung {
    double volume; /* L above rest */
    double paw, flow;
};

/* One instant of an invented patient: volume control for 100 s, then breathing alone at 5 cmH2O. */
static void lung_step(struct lung *l, double t, double dt)
{
    const double elastance = 20, resistance = 10, peep = 5;
    if (t < 100) {
        double phase = fmod(t, 3.0);
        l->flow = phase < 0.8 ? 0.55 : (phase < 1.0 ? 0 : -elastance * l->volume / resistance);
        l->paw = phase < 1.0 ? peep + elastance * l->volume + resistance * l->flow : peep;
    } else {
        double phase = fmod(t, 3.4);
        double pmus = phase < 1.1 ? 7 * sin(3.14159265358979 * phase / 1.1) : 0;
        l->flow = (pmus - elastance * l->volume) / resistance;
        l->paw = peep - 0.4 * l->flow;
    }
    l->volume += l->flow * dt;
}

static void put_break(struct stream *s, size_t before, enum item_kind kind)
{
    struct item *it = &s->breaks[s->n_breaks].item;
    s->breaks[s->n_breaks++].before = before;
    memset(it, 0, sizeof *it);
    it->kind = kind;
    if (kind == ITEM_GAP) {
        it->gap.from_ns = s->t_ns[before - 1];
        it->gap.to_ns = s->t_ns[before];
        strcpy(it->gap.reason, "cable-out");
    } else {
        it->mark.at_ns = s->t_ns[before] - NS_PER_S;
        it->mark.entered_ns = s->t_ns[before];
        strcpy(it->mark.kind, "suction");
    }
}

/* A hole, and what the engine must not see differently when blocks are cut elsewhere. */
static void spoil(struct stream *s)
{
    size_t short_hole = s->n / 5, long_hole = s->n / 3, open_port = s->n / 2, missing = s->n * 3 / 4;
    for (size_t i = short_hole; i < s->n; i++) {
        s->t_ns[i] += 40000000;
    }
    for (size_t i = long_hole; i < s->n; i++) {
        s->t_ns[i] += 7 * NS_PER_S;
    }
    for (size_t i = open_port; i < open_port + s->n / 20; i++) {
        s->paw[i] *= 0.02;
        s->flow[i] *= 0.02;
    }
    for (size_t i = missing; i < missing + 30; i++) {
        s->flow[i] = NAN;
        s->paw[i + 400] = NAN;
    }
    put_break(s, long_hole, ITEM_GAP);
    put_break(s, open_port, ITEM_MARK);
}

int stream_make(struct stream *s, double rate_hz, double seconds, uint64_t seed)
{
    memset(s, 0, sizeof *s);
    s->n = (size_t)(rate_hz * seconds);
    s->t_ns = calloc(s->n, sizeof *s->t_ns);
    s->paw = calloc(s->n, sizeof *s->paw);
    s->flow = calloc(s->n, sizeof *s->flow);
    if (!s->t_ns || !s->paw || !s->flow) {
        stream_free(s);
        return -1;
    }
    struct lung lung = {0, 5, 0};
    for (size_t i = 0; i < s->n; i++) {
        lung_step(&lung, (double)i / rate_hz, 1 / rate_hz);
        s->t_ns[i] = (int64_t)((double)i * 1e9 / rate_hz);
        s->paw[i] = round((lung.paw + 0.2 * (stream_random(&seed) - 0.5)) * 100) / 100;
        s->flow[i] = round((lung.flow + 0.01 * (stream_random(&seed) - 0.5)) * 1000) / 1000;
    }
    spoil(s);
    recording_info_defaults(&s->info);
    s->info.channel[CH_PAW].present = s->info.channel[CH_FLOW].present = true;
    strcpy(s->info.channel[CH_PAW].unit, "cm[H2O]");
    strcpy(s->info.channel[CH_FLOW].unit, "L/s");
    s->info.channel[CH_PAW].decimals = 2;
    s->info.channel[CH_FLOW].decimals = 3;
    s->info.regular = true;
    s->info.rate_num = (int64_t)rate_hz;
    s->info.rate_den = 1;
    s->info.gap_limit_ns = (int64_t)(1.5e9 / rate_hz);
    return 0;
}

void stream_free(struct stream *s)
{
    free(s->t_ns);
    free(s->paw);
    free(s->flow);
    memset(s, 0, sizeof *s);
}
