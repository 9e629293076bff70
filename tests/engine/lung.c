#include "tests/engine/lung.h"

#include <math.h>
#include <string.h>

/* Steady states whose closed form and 80-breath integration (DOP853, rtol 1e-12) agree in every
 * printed digit. */
const struct lung lungs[LUNGS] = {
    {"V1", false, 10, 10, 50, 500, 1.0, 0, 0, 2.0, 5, 500, 20.18657, 8.39552453, 0.18657360,
     -0.01865736},
    {"V2", false, 10, 10, 50, 500, 0.8, 0.2, 0, 3.0, 5, 500, 21.27485, 7.75621228, 0.02484912,
     -0.00248491},
    {"V3", false, 20, 20, 60, 500, 1.0, 0, 0, 2.0, 5, 500, 25.27380, 10.36904588, 1.94047098,
     -0.09702355},
    {"V4", false, 25, 25, 80, 500, 1.0, 0, 0, 2.0, 0, 500, 22.38735, 6.42078481, 3.63735442,
     -0.14549418},
    {"V5", false, 12, 12, 25, 360, 0.8, 0.2, 0, 1.0, 12, 360, 32.33271, 18.74635469, 0.53270937,
     -0.04439245},
    {"V6", false, 15, 30, 60, 450, 0.9, 0, 0, 2.1, 5, 450, 23.39172, 9.39251457, 3.39171524,
     -0.11305717},
    {"V7", true, 100, 100, 1.5, 12, 0.35, 0, 0, 0.65, 5, 12, 16.53496, 7.63723510, 0.10638601,
     -0.00106386},
    {"V8", false, 10, 10, 50, 500, 1.0, 0.5, 0, 1.5, 8, 500, 23.52396, 13.26197848, 0.52395696,
     -0.05239570},
    {"P1", false, 10, 10, 50, 0, 1.0, 0, 15, 2.0, 5, 638.20282, 20, 10, 0.23814360, -0.02381436},
    {"P2", false, 10, 10, 30, 0, 0.8, 0, 15, 1.6, 10, 416.85067, 25, 15, 0.06740992, -0.00674099},
    {"P3", false, 25, 25, 60, 0, 1.0, 0, 20, 1.5, 5, 455.04099, 25, 13, 4.41372098, -0.17654884},
    {"P4", false, 20, 20, 80, 0, 0.8, 0, 15, 2.2, 0, 416.68189, 15, 4, 1.76256799, -0.08812840},
    {"P5", false, 15, 25, 50, 0, 1.2, 0, 18, 1.8, 8, 575.64549, 26, 15.2, 3.57466537, -0.14298661},
    {"P6", true, 100, 100, 1.5, 0, 0.35, 0, 15, 0.35, 5, 18.52201, 20, 12.5, 1.32599516,
     -0.01325995},
};

double lung_cycle_s(const struct lung *l) {
    return l->ti + l->tip + l->te;
}

void lung_at(const struct lung *l, double t, double *p, double *q) {
    double c = l->c_ml / 1000, out = exp(-l->te / (l->re * c)), end, trapped;
    if (l->vt_ml > 0) {
        double flow = l->vt_ml / 1000 / l->ti;
        trapped = l->vt_ml / 1000 * out / (1 - out);
        end = trapped + l->vt_ml / 1000;
        *q = t < l->ti ? flow : 0;
        *p = l->peep + (trapped + flow * fmin(t, l->ti)) / c + l->ri * *q;
    } else {
        double in = exp(-l->ti / (l->ri * c)), full = c * l->dp;
        trapped = full * (1 - in) * out / (1 - in * out);
        end = full + (trapped - full) * in;
        *q = (l->dp - (full + (trapped - full) * exp(-t / (l->ri * c))) / c) / l->ri;
        *p = l->peep + l->dp;
    }
    if (t >= l->ti + l->tip) {
        *q = -end * exp(-(t - l->ti - l->tip) / (l->re * c)) / (l->re * c);
        *p = l->peep;
    }
}

static int on_row(void *user, const struct breath_row *r) {
    struct collected *c = user;
    if (c->rows < COLLECTED) {
        c->row[c->rows] = *r;
    }
    c->rows++;
    c->too_early |= !c->at_end && c->now_ns < r->t2_ns + 120 * NS_PER_S;
    return c->rows == c->fail_at ? 77 : 0;
}

static int on_event(void *user, const struct event *e) {
    struct collected *c = user;
    if (c->events < COLLECTED) {
        c->event[c->events] = *e;
    }
    c->events++;
    c->too_early |= !c->at_end && c->now_ns < e->end_ns + 120 * NS_PER_S;
    return 0;
}

void rig_info(struct recording_info *info, double rate_hz, enum patient_size size) {
    recording_info_defaults(info);
    info->channel[CH_PAW].present = info->channel[CH_FLOW].present = true;
    info->channel[CH_PAW].decimals = info->channel[CH_FLOW].decimals = 6;
    info->regular = true;
    info->rate_num = (int64_t)rate_hz;
    info->rate_den = 1;
    info->gap_limit_ns = (int64_t)(1.5e9 / rate_hz);
    info->patient = size;
}

int rig_new(struct engine **e, struct collected *c, const struct recording_info *info) {
    memset(c, 0, sizeof *c);
    struct engine_opts o = {PATIENT_UNKNOWN, NAN, NULL};
    struct engine_sink sink = {c, on_row, on_event, NULL, NULL};
    return engine_new(e, info, &o, &sink);
}

int rig_feed(struct engine *e, struct collected *c, double rate_hz, double from_s, double to_s,
             wave_fn *fn, const void *user) {
    static struct sample_block b; /* too large for the stack */
    struct item it = {.kind = ITEM_SAMPLES, .samples = &b};
    int64_t i = (int64_t)ceil(from_s * rate_hz - 1e-9), end = (int64_t)ceil(to_s * rate_hz - 1e-9);
    while (i < end) {
        b.channels = 1u << CH_PAW | 1u << CH_FLOW;
        for (b.n = 0; b.n < 16 && i < end; b.n++, i++) {
            b.t_ns[b.n] = i * NS_PER_S / (int64_t)rate_hz;
            fn(user, (double)i / rate_hz, &b.v[CH_PAW][b.n], &b.v[CH_FLOW][b.n]);
        }
        c->now_ns = b.t_ns[b.n - 1];
        int rc = engine_push(e, &it);
        if (rc) {
            return rc;
        }
    }
    return 0;
}
