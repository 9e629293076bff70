#include "analyze/mechanics/pool.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"

#include <math.h>

#define ALIKE    0.12 /* relative difference of time, volume and pressure */
#define OLD_NS   (120 * NS_PER_S)
#define COLOURED 3.0 /* residuals of the fits are coloured by the heart: lag-1 correlation about 0.8 */
#define APART    4.0 /* standard errors */
#define ENOUGH   5

static bool near(double a, double b)
{
    return fabs(a - b) <= ALIKE * larger(fabs(a), fabs(b));
}

static bool alike(const struct pool_breath *a, const struct pool_breath *b)
{
    return near(a->ti_s, b->ti_s) && near(a->vt_l, b->vt_l) && near(a->span_cmh2o, b->span_cmh2o) &&
           b->t0_ns - a->t0_ns < OLD_NS;
}

static void middle_of(const struct pool_breath *const *v, int n, struct pool_mean *out)
{
    out->n = n;
    for (int part = 0; part < POOL_PARTS; part++) {
        double value[POOL_KEPT], scatter = 0, own = 0;
        for (int k = 0; k < n; k++) {
            value[k] = v[k]->log_of[part];
            own += v[k]->se[part] / n;
        }
        double middle = order_median(value, n);
        for (int k = 0; k < n; k++)
            scatter += (v[k]->log_of[part] - middle) * (v[k]->log_of[part] - middle);
        /* Of few breaths the scatter is not known: it is weighed with what each fit says of itself. */
        double variance = (scatter + 2 * own * own) / (n + 1);
        out->value[part] = exp(middle);
        out->sd[part] = sqrt(variance / n);
    }
}

void pool_enter(struct pool *p, struct pool_breath b, const struct motion_fit *f, struct pool_mean *out)
{
    double value[POOL_PARTS] = {f->e_cmh2o_l, f->r_chord, f->re_chord};
    double se[POOL_PARTS] = {f->se_e, f->se_r, f->se_re};
    for (int part = 0; part < POOL_PARTS; part++) {
        b.log_of[part] = log(value[part]);
        b.se[part] = COLOURED * se[part];
    }
    const struct pool_breath *v[POOL_KEPT];
    int n = 0;
    for (uint64_t back = 1; back <= p->n && back < POOL_KEPT; back++) {
        const struct pool_breath *k = &p->kept[(p->n - back) % POOL_KEPT];
        if (alike(k, &b))
            v[n++] = k;
    }
    if (n >= 3) {
        middle_of(v, n, out);
        for (int part = 0; part < POOL_RE; part++) {
            double far = APART * sqrt(out->sd[part] * out->sd[part] * n + b.se[part] * b.se[part]);
            if (fabs(b.log_of[part] - log(out->value[part])) > larger(far, 0.05)) {
                p->n = 0;
                n = 0;
            }
        }
    }
    struct pool_breath *kept = &p->kept[p->n++ % POOL_KEPT];
    *kept = b;
    v[n++] = kept;
    middle_of(v, n, out);
}

double pool_elastance(const struct pool *p)
{
    double v[POOL_KEPT];
    int n = p->n < POOL_KEPT ? (int)p->n : POOL_KEPT;
    for (int k = 0; k < n; k++)
        v[k] = p->kept[k].log_of[POOL_E];
    return n >= ENOUGH ? exp(order_median(v, n)) : (double)NAN;
}
