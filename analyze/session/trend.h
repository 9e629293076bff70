/* What a breath's figures need of the breaths before it: leak as a mean of five, minute volume of a minute,
 * the ordinary breath's medians. */
#ifndef TIDEMARK_ANALYZE_TREND_H
#define TIDEMARK_ANALYZE_TREND_H

#include "analyze/breath/measure.h"
#include "analyze/manoeuvres/stretch.h"

#define TREND_KEPT     128 /* breaths of the last minute: up to 120 a minute */
#define TREND_ORDINARY 10

struct trend {
    struct {
        int64_t t0_ns, t2_ns;
        double vti_l, vte_l, net_l;
    } kept[TREND_KEPT];
    uint64_t n; /* measured breaths in a row: none between them is unknown */
    int64_t known_from_ns; /* since when every breath and its volumes are known */
    struct {
        double peep, pip, te_s, period_s, vt_l;
        bool machine;
    } ord[TREND_ORDINARY];
    uint64_t n_ord;
    double last_peep_cmh2o; /* at the end of the last complete breath; NAN */
};

void trend_init(struct trend *t);
/* A hole, an event, a breath whose volumes are not known: windows start anew, at from_ns. */
void trend_restart(struct trend *t, int64_t from_ns);

/* A complete breath. Fills leak_pct, ve_l_min of its row (and quality leak_high, drift_high). */
void trend_breath(struct trend *t, const struct breath_more *more, struct breath_row *row);

/* Enters an ordinary breath; and the medians so far. */
void trend_ordinary(struct trend *t, const struct breath_row *row, const struct breath_more *more,
                    struct ordinary *out);

#endif
