#include "analyze/breath/noise.h"

#include "analyze/breath/order.h"

#include <string.h>

#define FIRST_TAKEN    32 /* about 1 s */
#define WINDOW_S       10.0

void noise_init(struct noise *z, double rate_hz, double flow_scale)
{
    memset(z, 0, sizeof *z);
    /* Until a window is full: ordinary recordings' values (0.15 cmH2O and 0.008 L/s). */
    z->p_sd_cmh2o = 0.15;
    z->q_sd_l_s = 0.008 * flow_scale;
    z->floor_q_l_s = 0.002 * flow_scale;
    z->p_quantum = z->q_quantum = INFINITY;
    z->stride = (uint64_t)(rate_hz / FIRST_TAKEN);
    z->full = FIRST_TAKEN;
    z->later_stride = (uint64_t)(rate_hz * WINDOW_S / NOISE_TAKEN);
    if (z->stride < 1)
        z->stride = 1;
    if (z->later_stride < 1)
        z->later_stride = 1;
    z->next = 3;
}

static double sd_of(float *d2, int n, double quantum, double floor)
{
    double sd = (double)order_median_f(d2, n) / (0.6745 * sqrt(6.0));
    double q = isfinite(quantum) ? quantum / sqrt(12.0) : 0;
    if (sd < q)
        sd = q;
    return sd < floor ? floor : sd;
}

void noise_follow_taken(struct noise *z, const struct ring *r)
{
    if (r->end < r->begin + 3) {
        z->next = r->begin + 3;
        return;
    }
    const struct ring_slot *a = ring_at(r, r->end - 3), *b = ring_at(r, r->end - 2), *c = ring_at(r, r->end - 1);
    double dq = fabs(c->q - b->q), dp = fabs(c->p - b->p);
    if (dq > 0 && dq < z->q_quantum)
        z->q_quantum = dq;
    if (dp > 0 && dp < z->p_quantum)
        z->p_quantum = dp;
    z->q_d2[z->n] = (float)fabs(c->q - 2 * b->q + a->q);
    z->p_d2[z->n] = (float)fabs(c->p - 2 * b->p + a->p);
    z->n++;
    z->next = r->end + z->stride;
    if (z->n == z->full) {
        z->full = NOISE_TAKEN;
        z->q_sd_l_s = sd_of(z->q_d2, z->n, z->q_quantum, z->floor_q_l_s);
        z->p_sd_cmh2o = sd_of(z->p_d2, z->n, z->p_quantum, 0.02);
        z->n = 0;
        z->stride = z->later_stride;
    }
}
