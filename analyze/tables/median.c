#include "analyze/tables/median.h"
#include "analyze/tables/number.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Widest plausible values (infants to adults); what lies beyond goes to the end bins. */
static const struct range {
    enum col column;
    int low, high;
} ranges[] = {
    {COL_ti_s, 0, 30},           {COL_te_s, 0, 30},           {COL_rate_per_min, 0, 400},   {COL_vti_ml, -1000, 9000},
    {COL_vte_ml, -1000, 9000},   {COL_vt_ml_kg, -20, 200},     {COL_leak_pct, -400, 400},
    {COL_ve_l_min, -20, 200},    {COL_pip_cmh2o, -100, 200},   {COL_pmean_cmh2o, -100, 200},
    {COL_peep_cmh2o, -100, 200}, {COL_autopeep_cmh2o, -100, 200}, {COL_fit_crs_ml_cmh2o, 0, 1000},
    {COL_fit_r_cmh2o_s_l, -50, 500}, {COL_fit_re_cmh2o_s_l, -50, 500}, {COL_cdyn_ml_cmh2o, -100, 1000},
};

struct median {
    int decimals;
    int64_t low;   /* scaled value of bin 0 */
    size_t bins;
    uint64_t n;
    size_t min, max; /* touched bins; min > max: none */
    uint32_t *count;
};

static const struct range *find(enum col c)
{
    for (size_t i = 0; i < sizeof ranges / sizeof ranges[0]; i++)
        if (ranges[i].column == c)
            return &ranges[i];
    return NULL;
}

bool median_known(enum col c)
{
    return find(c) != NULL;
}

int median_new(struct median **out, enum col c)
{
    const struct range *r = find(c);
    if (!r)
        return TM_ERR_USAGE;
    struct median *m = calloc(1, sizeof *m);
    if (!m)
        return TM_ERR_MEMORY;
    m->decimals = column_field(c)->decimals;
    int64_t high;
    (void)number_scaled((double)r->low, m->decimals, &m->low);
    (void)number_scaled((double)r->high, m->decimals, &high);
    m->bins = (size_t)(high - m->low) + 1;
    m->count = calloc(m->bins, sizeof *m->count);
    if (!m->count) {
        free(m);
        return TM_ERR_MEMORY;
    }
    m->min = m->bins;
    *out = m;
    return TM_OK;
}

void median_add(struct median *m, double v)
{
    int64_t s;
    if (!number_scaled(v, m->decimals, &s)) {
        if (!isfinite(v))
            return;
        s = v < 0 ? INT64_MIN : INT64_MAX;
    }
    size_t bin = 0;
    if (s > m->low)
        bin = (uint64_t)s - (uint64_t)m->low < m->bins ? (size_t)(s - m->low) : m->bins - 1;
    if (m->count[bin] == UINT32_MAX)
        return;
    m->count[bin]++;
    m->n++;
    m->min = bin < m->min ? bin : m->min;
    m->max = bin > m->max ? bin : m->max;
}

uint64_t median_n(const struct median *m)
{
    return m->n;
}

/* Scaled value of the k-th smallest (from 0). */
static int64_t ranked(const struct median *m, uint64_t k)
{
    uint64_t below = 0;
    for (size_t b = m->min; b <= m->max; b++) {
        below += m->count[b];
        if (below > k)
            return m->low + (int64_t)b;
    }
    return m->low + (int64_t)m->max;
}

double median_of(const struct median *m, double fraction)
{
    static const double tens[] = {1, 10, 100, 1000, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};
    if (m->n == 0)
        return (double)NAN;
    int64_t s;
    if (fraction == 0.5) {
        const int64_t a = ranked(m, (m->n - 1) / 2), sum = a + ranked(m, m->n / 2);
        int64_t half = sum / 2; /* toward zero */
        if (sum % 2 && half % 2)
            half += sum < 0 ? -1 : 1;
        s = half;
    } else {
        const double k = ceil(fraction * (double)m->n) - 1;
        s = ranked(m, k < 0 ? 0 : (uint64_t)k);
    }
    return (double)s / tens[m->decimals];
}

void median_clear(struct median *m)
{
    if (m->min <= m->max)
        memset(m->count + m->min, 0, (m->max - m->min + 1) * sizeof *m->count);
    m->n = 0;
    m->min = m->bins;
    m->max = 0;
}

void median_destroy(struct median *m)
{
    if (m)
        free(m->count);
    free(m);
}
