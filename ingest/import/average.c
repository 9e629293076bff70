/* Averaging each N rows into one sample, for sources above 1000 Hz: the mean, at the time of the middle.
 *
 * A mean is rounded, in the source's unit, to three decimals more than the rows have: a log can then hold it whole. */
#include "ingest/import/text_internal.h"

#include <math.h>
#include <string.h>

static void put_mean(struct averager *a, struct sample_block *to)
{
    size_t n = to->n++;
    to->t_ns[n] = a->from_ns[0] + (a->from_ns[1] - a->from_ns[0]) / 2;
    for (int c = 0; c < CH_N; c++) {
        if (!(to->channels >> c & 1))
            continue;
        double mean = a->sum[c] / (double)a->valid[c] / a->factor[c];
        /* With fewer than half of its values a mean would be about something else. */
        to->v[c][n] = a->valid[c] * 2 >= a->per ? nearbyint(mean * a->scale[c]) / a->scale[c] * a->factor[c] : (double)NAN;
    }
}

void average_rows(struct averager *a, const struct sample_block *from, int64_t limit_ns, struct sample_block *to,
                  int64_t *last_ns)
{
    for (size_t i = 0; i < from->n; i++) {
        if (a->have > 0 && from->t_ns[i] - *last_ns > limit_ns)
            a->have = 0; /* never a mean across a hole: what is left before it is given up */
        *last_ns = from->t_ns[i];
        if (a->have == 0) {
            memset(a->sum, 0, sizeof a->sum);
            memset(a->valid, 0, sizeof a->valid);
        }
        if (a->have == (a->per - 1) / 2)
            a->from_ns[0] = from->t_ns[i];
        if (a->have == a->per / 2)
            a->from_ns[1] = from->t_ns[i];
        for (int c = 0; c < CH_N; c++) {
            if (!(from->channels >> c & 1) || isnan(from->v[c][i]))
                continue;
            a->sum[c] += from->v[c][i];
            a->valid[c]++;
        }
        if (++a->have == a->per) {
            put_mean(a, to);
            a->have = 0;
        }
    }
}
