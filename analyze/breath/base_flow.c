#include "analyze/breath/base_flow.h"

#include "analyze/breath/order.h"

#include <string.h>

#define PRESSURE_LEAST 1.0
#define RUN_AGE_MAX_NS (INT64_C(90) * 1000000000)

void base_flow_init(struct base_flow *b, double flow_scale)
{
    memset(b, 0, sizeof *b);
    b->max_l_s = 0.3 * flow_scale;
}

void base_flow_break(struct base_flow *b)
{
    b->n_breath = 0;
}

void base_flow_stood(struct base_flow *b, double q_l_s, double p_cmh2o)
{
    if (p_cmh2o < PRESSURE_LEAST)
        return; /* an orifice lets nothing through there */
    b->k = q_l_s / sqrt(p_cmh2o);
    b->constant = 0;
    b->n_run = b->n_breath = 0;
}

void base_flow_renew(struct base_flow *b, double mean_l_s, double mean_sqrt_p)
{
    b->k = mean_l_s > 0 && mean_sqrt_p > PRESSURE_LEAST ? mean_l_s / mean_sqrt_p : 0;
    b->constant = smaller(0, larger(mean_l_s, -b->max_l_s));
    b->n_run = b->n_breath = 0;
}

static void decide(struct base_flow *b, int64_t now_ns)
{
    double k[BASE_RUNS], mean[BASE_RUNS];
    int n = 0;
    for (int i = 0; i < BASE_RUNS && i < b->n_run; i++) {
        if (now_ns - b->run[i].end_ns > RUN_AGE_MAX_NS)
            continue;
        mean[n] = b->run[i].net_l / b->run[i].seconds;
        k[n] = b->run[i].sqrt_p_s > 0 ? b->run[i].net_l / b->run[i].sqrt_p_s : 0;
        n++;
    }
    b->k = b->constant = 0;
    if (n == 0)
        return;
    double m = order_median(mean, n);
    if (m > 0)
        b->k = fmax(order_median(k, n), 0);
    else
        b->constant = fmax(m, -b->max_l_s);
}

void base_flow_breath(struct base_flow *b, double net_l, double insp_l, double sqrt_p_s, double seconds,
                      int64_t end_ns)
{
    int at = b->n_breath % 3;
    b->breath[at].net_l = net_l;
    b->breath[at].insp_l = insp_l;
    b->breath[at].sqrt_p_s = sqrt_p_s;
    b->breath[at].seconds = seconds;
    b->n_breath++;
    if (b->n_breath < 3)
        return;
    int to = b->n_run % BASE_RUNS;
    double net = 0, insp = 0, root = 0, len = 0;
    for (int i = 0; i < 3; i++) {
        net += b->breath[i].net_l;
        insp += b->breath[i].insp_l;
        root += b->breath[i].sqrt_p_s;
        len += b->breath[i].seconds;
    }
    if (len <= 0 || fabs(net) > 0.6 * insp)
        return;
    b->run[to].net_l = net;
    b->run[to].insp_l = insp;
    b->run[to].sqrt_p_s = root;
    b->run[to].seconds = len;
    b->run[to].end_ns = end_ns;
    b->n_run++;
    decide(b, end_ns);
}
