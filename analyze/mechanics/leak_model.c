#include "analyze/mechanics/leak_model.h"

#include "analyze/breath/extreme.h"
#include "analyze/breath/order.h"
#include "analyze/mechanics/output_error.h"

#include <string.h>

#define LEAST       3
#define OUTLIER     4.0  /* robust standard deviations */
#define SURE        2.0  /* standard errors */
#define SHARE_LEAST 0.01 /* of the inspired volume: a smaller loss is spread evenly */
#define KEPT_SHARE  0.97 /* of what was learnt, a passive breath later */
#define POINTS      48   /* pressures of a breath that the laws are summed over */
#define OPENS       0.2  /* of the way from the expiratory level to the peak: where a cuff begins to give way */
#define WORTH       8    /* independent residuals in a breath: they are coloured */
#define FIRST       20   /* breaths weighed one by one, then one in EVERY */
#define EVERY       8
#define UNLIKELY    8.0
#define OVERWHELMING 40.0

static double weight(enum leak_law law, double p, double low)
{
    return law == LEAK_EVEN ? 1 : law == LEAK_ROOT ? sqrt(larger(p, 0)) : larger(p - low, 0);
}

void leak_enter(struct leak_model *m, const struct ring *r, const struct seg_breath *b, double peep_cmh2o, double pip_cmh2o,
                double net_l, double vti_l)
{
    uint64_t k = m->n++ % LEAK_KEPT, stride = (b->i2 - b->i0) / POINTS + 1;
    m->low_cmh2o = peep_cmh2o + OPENS * larger(pip_cmh2o - peep_cmh2o, 0);
    m->kept[k].net_l = net_l;
    m->kept[k].vti_l = vti_l;
    memset(m->kept[k].part, 0, sizeof m->kept[k].part);
    double step_s = (double)stride / r->rate_hz;
    for (uint64_t i = b->i0; i + stride <= b->i2; i += stride)
        for (enum leak_law law = LEAK_EVEN; law < LEAK_LAWS; law++)
            m->kept[k].part[law] += step_s * weight(law, ring_p_mean(r, i, i + stride), m->low_cmh2o);
}

void leak_forget(struct leak_model *m)
{
    m->n = 0;
}

/* Leak per unit of the law's weight, L/s; 0: too few breaths. *share: of inspired volume. */
static double factor(const struct leak_model *m, enum leak_law law, double *share)
{
    int n = m->n < LEAK_KEPT ? (int)m->n : LEAK_KEPT, used = 0;
    double v[LEAK_KEPT], net = 0, part = 0, vti = 0;
    *share = 0;
    if (n < LEAST)
        return 0;
    for (int k = 0; k < n; k++)
        v[k] = m->kept[k].net_l;
    double middle = order_median(v, n);
    for (int k = 0; k < n; k++)
        v[k] = fabs(m->kept[k].net_l - middle);
    double spread = 1.4826 * order_median(v, n);
    for (int k = 0; k < n; k++) {
        if (fabs(m->kept[k].net_l - middle) > OUTLIER * spread)
            continue; /* a hold, a cough: its gas went elsewhere */
        used++;
        net += m->kept[k].net_l;
        part += m->kept[k].part[law];
        vti += m->kept[k].vti_l;
    }
    if (used < LEAST || fabs(net) < SURE * spread * sqrt((double)used))
        return 0; /* nothing that can be told from gas that comes and goes */
    *share = vti > 0 ? net / vti : 0;
    return part > 0 ? net / part : 0;
}

double leak_drift_l_s(const struct leak_model *m)
{
    double share;
    return factor(m, LEAK_EVEN, &share);
}

static void take(struct motion_samples *s, enum leak_law law, double k, double low, double sign)
{
    double lost = 0, last = 0;
    for (int i = 0; i < s->n; i++) {
        double q = sign * k * weight(law, s->p[i], low);
        lost += i > 0 ? 0.5 * (q + last) * (s->t_s[i] - s->t_s[i - 1]) : q * s->t_s[0];
        last = q;
        s->v[i] -= lost;
        /* An even drift is taken out of volume only: as a flow, a zero that is off is lost in P0. */
        if (law != LEAK_EVEN)
            s->q[i] -= q;
    }
}

/* An orifice unless another law explains the breaths clearly better. What a lung that relaxes or is unequal leaves in the
 * residuals looks like a leak in inspiration: that is believed where the even spread is refuted with it, as it must be if gas
 * leaves at high pressure, or where the evidence is overwhelming. */
static enum leak_law likeliest(const struct leak_model *m)
{
    const double *x = m->against;
    if ((x[LEAK_ABOVE] < -UNLIKELY && x[LEAK_EVEN] > UNLIKELY) || x[LEAK_ABOVE] < -OVERWHELMING)
        return LEAK_ABOVE;
    return x[LEAK_EVEN] < -UNLIKELY && x[LEAK_EVEN] < x[LEAK_ABOVE] ? LEAK_EVEN : LEAK_ROOT;
}

static void weigh(struct leak_model *m, struct motion_samples *s, double *work)
{
    double log_rss[LEAK_LAWS], share;
    for (enum leak_law law = LEAK_EVEN; law < LEAK_LAWS; law++) {
        double k = factor(m, law, &share);
        take(s, law, k, m->low_cmh2o, 1);
        struct motion_fit f;
        motion_fit(s, NULL, work, &f);
        log_rss[law] = output_error(s, work, &f) ? 2 * log(f.sd_v_l) : INFINITY;
        take(s, law, k, m->low_cmh2o, -1);
        if (!isfinite(log_rss[law]))
            return;
    }
    for (enum leak_law law = LEAK_EVEN; law < LEAK_LAWS; law++)
        m->against[law] = KEPT_SHARE * m->against[law] + 0.5 * WORTH * (log_rss[law] - log_rss[LEAK_ROOT]);
    m->weighed++;
}

void leak_take_out(struct leak_model *m, struct motion_samples *s, bool passive, double *work)
{
    double share, k = factor(m, LEAK_EVEN, &share);
    enum leak_law law = LEAK_EVEN;
    if (share >= SHARE_LEAST) {
        if (passive && s->n >= 8 && (m->weighed < FIRST || m->seen % EVERY == 0))
            weigh(m, s, work);
        m->seen += passive;
        law = likeliest(m);
        k = factor(m, law, &share);
    }
    take(s, law, k, m->low_cmh2o, 1);
}

void leak_now(const struct leak_model *m, struct leak_law_now *out)
{
    double share;
    *out = (struct leak_law_now){.low_cmh2o = m->low_cmh2o};
    out->factor = factor(m, LEAK_EVEN, &share);
    if (share >= SHARE_LEAST) {
        out->law = likeliest(m);
        out->factor = factor(m, out->law, &share);
    }
}

double leak_flow_l_s(const struct leak_law_now *l, double p_cmh2o)
{
    return l->factor * weight(l->law, p_cmh2o, l->low_cmh2o);
}

double leak_volume_l(const struct leak_model *m)
{
    int n = m->n < LEAK_KEPT ? (int)m->n : LEAK_KEPT;
    double sum = 0;
    for (int k = 0; k < n; k++)
        sum += m->kept[k].vti_l;
    return n > 0 ? sum / n : (double)NAN;
}
