#include "ingest/import/pace.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STEPS_MAX 1000
#define DEN_MAX   60

void grid_start(struct grid *g, int64_t num, int64_t den)
{
    int64_t whole = NS_PER_S * den;
    *g = (struct grid){.step_ns = whole / num, .rest = whole % num, .sum = num / 2, .num = num};
}

static bool simplest(double hz, double within, int64_t *num, int64_t *den)
{
    for (*den = 1; *den <= DEN_MAX; ++*den) {
        *num = (int64_t)floor(hz * (double)*den + 0.5);
        if (*num > 0 && fabs((double)*num / (double)*den - hz) <= within)
            return true;
    }
    return false;
}

void pace_fraction(double hz, int64_t *num, int64_t *den)
{
    if (simplest(hz, hz * 1e-7, num, den))
        return;
    *den = 1000000;
    *num = (int64_t)floor(hz * 1e6 + 0.5);
}

static int by_size(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* Are nearly all steps multiples of den/num seconds? */
static bool fits(const int64_t *step, int n, double nominal_ns, int64_t resolution_ns)
{
    double within = (double)resolution_ns + 2;
    if (within > nominal_ns / 2)
        within = 2;
    int off = 0;
    for (int i = 0; i < n; i++) {
        double times = floor((double)step[i] / nominal_ns + 0.5);
        off += times < 1 || fabs((double)step[i] - times * nominal_ns) > within;
    }
    return off * 50 <= n;
}

void pace_find(const int64_t *t, int n, int64_t resolution_ns, struct pace *out)
{
    int64_t step[STEPS_MAX];
    memset(out, 0, sizeof *out);
    for (int i = 1; i < n && out->steps < STEPS_MAX; i++) {
        if (t[i] > t[i - 1])
            step[out->steps++] = t[i] - t[i - 1];
        else
            out->repeats++;
    }
    if (out->steps == 0)
        return;
    qsort(step, (size_t)out->steps, sizeof step[0], by_size);
    out->min_ns = step[0];
    out->median_ns = step[out->steps / 2];
    out->max_ns = step[out->steps - 1];
    int64_t sum = 0;
    int m = 0;
    for (; m < out->steps && step[m] / 5 * 2 <= out->median_ns; m++)
        sum += step[m];
    /* A single dropped row is no hole of an irregular source but must not move a regular one's rate. */
    int64_t even_sum = 0, slack = resolution_ns * 2 <= out->median_ns ? resolution_ns : 0;
    int even = 0;
    for (int i = 0; i < out->steps; i++)
        if (step[i] <= out->median_ns + out->median_ns / 2 + slack) {
            even_sum += step[i];
            even++;
        }
    double hz = 1e9 * even / (double)even_sum;
    /* Each stretch between holes is off by one unit of the stamps at most. */
    double within = hz * ((double)resolution_ns * (out->steps - even + 1) + 2) / (double)even_sum;
    if (within > hz / 100)
        within = hz / 100;
    out->regular = simplest(hz, within, &out->rate_num, &out->rate_den) &&
                   fits(step, out->steps, 1e9 * (double)out->rate_den / (double)out->rate_num, resolution_ns);
    if (!out->regular) {
        out->rate_num = (int64_t)floor(1e12 * m / (double)sum + 0.5);
        out->rate_den = 1000;
    }
    int64_t nominal = (NS_PER_S * out->rate_den + out->rate_num / 2) / (out->rate_num > 0 ? out->rate_num : 1);
    out->gap_limit_ns = gap_limit_of(out->regular, out->regular ? nominal : out->median_ns);
}
