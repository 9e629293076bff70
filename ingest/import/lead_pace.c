#include "ingest/import/lead_pace.h"

#include <stdlib.h>
#include <string.h>

#define STEPS_MAX 1000

static int by_size(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

int64_t pace_gap_limit_ns(bool regular, int64_t median_ns)
{
    if (regular)
        return median_ns + median_ns / 2;
    int64_t wide = median_ns * 5 / 2, least = NS_PER_S / 50;
    return wide > least ? wide : least;
}

/* The stamps' resolution: the coarsest power of ten that divides all of them. */
static int64_t resolution(const int64_t *t, int n)
{
    int64_t unit = 100000000; /* 0.1 s is no resolution of a sampled signal any more */
    for (int i = 0; i < n; i++)
        while (unit > 1 && t[i] % unit != 0)
            unit /= 10;
    return unit;
}

void pace_find(const int64_t *t, int n, struct pace *out)
{
    int64_t step[STEPS_MAX];
    memset(out, 0, sizeof *out);
    for (int i = 1; i < n && out->steps < STEPS_MAX; i++) {
        int64_t d = t[i] - t[i - 1];
        if (d > 0)
            step[out->steps++] = d;
        else
            out->repeats++;
    }
    if (out->steps == 0)
        return;
    qsort(step, (size_t)out->steps, sizeof step[0], by_size);
    out->min_ns = step[0];
    out->median_ns = step[out->steps / 2];
    out->max_ns = step[out->steps - 1];
    int64_t sum = 0, res = resolution(t, n);
    int m = 0, off = 0;
    for (int i = 0; i < out->steps && step[i] * 2 <= out->median_ns * 5; i++, m++)
        sum += step[i];
    double mean = (double)sum / m;
    for (int i = 0; i < m; i++) {
        double d = (double)step[i] - mean;
        off += d > (double)res * 1.01 || d < -(double)res * 1.01;
    }
    /* One stamp in a hundred may be off (a hole's edge); jitter moves most of them. */
    out->regular = off * 100 <= m && (double)res * 2 <= mean;
    double hz = 1e9 / mean, whole = (double)(int64_t)(hz + 0.5);
    bool near = hz > whole * (1 - 2e-4) && hz < whole * (1 + 2e-4);
    out->rate_num = near ? (int64_t)whole : (int64_t)(hz * 1000 + 0.5);
    out->rate_den = near ? 1 : 1000;
    int64_t nominal = (int64_t)(mean + 0.5);
    out->gap_limit_ns = pace_gap_limit_ns(out->regular, out->regular ? nominal : out->median_ns);
}
