/* Values in the file's unit and decimals, so that what is read back is the same double.
 *
 * A converter's value came from text: x = s * factor. Division gives s back to within two units in the last
 * place, and rounding to the decimals that s had removes the difference, as long as s had at most 15 digits.
 * Each value is checked by reading its text again; one that fails makes the decimals grow. */
#include "ingest/log/log_write_internal.h"

#include <math.h>

static bool reads_back(const char *text, size_t n, double factor, double v)
{
    double s;
    return decimal_scan(text, text + n, &s) == text + n && s * factor == v;
}

/* The fewest decimals, more than `from`, that bring v back; -1: none does. */
static int places_needed(double v, double factor, int from)
{
    double s = v / factor;
    const double near[3] = {s, nextafter(s, (double)INFINITY), nextafter(s, -(double)INFINITY)};
    char text[DECIMAL_BUF];
    for (int places = from + 1; places <= DECIMAL_PLACES_MAX; places++)
        for (int k = 0; k < 3; k++)
            if (reads_back(text, decimal_format(text, near[k], places), factor, v))
                return places;
    return -1;
}

/* Where division landed beside the source's number and the decimals are many, a neighbour may be the one. */
static size_t nearest_text(char *buf, double v, double factor, int places)
{
    double s = v / factor;
    for (int k = 0; k < 2; k++) {
        size_t n = decimal_format(buf, nextafter(s, k ? -(double)INFINITY : (double)INFINITY), places);
        if (reads_back(buf, n, factor, v))
            return n;
    }
    return 0;
}

static size_t exact_text(struct log_writer *w, enum channel c, double v, char *buf, bool *grow)
{
    double f = w->factor[c];
    size_t n = decimal_format(buf, v / f, w->decimals[c]);
    if (reads_back(buf, n, f, v))
        return n;
    size_t other = f == 1.0 ? 0 : nearest_text(buf, v, f, w->decimals[c]);
    if (other > 0)
        return other;
    int places = places_needed(v, f, w->decimals[c]);
    if (places > 0) {
        w->decimals[c] = places;
        *grow = true;
        return n;
    }
    w->inexact++;
    return decimal_format(buf, v / f, w->decimals[c]);
}

size_t writer_values(struct log_writer *w, const struct sample_block *b, size_t i, char *buf, bool *grow)
{
    size_t n = 0;
    for (size_t k = 0; k < w->n_channels; k++) {
        enum channel c = w->order[k];
        if (k > 0)
            buf[n++] = ',';
        if (!(b->channels >> c & 1))
            continue;
        double v = b->v[c][i];
        if (!isfinite(v))
            continue;
        if (w->exact)
            n += exact_text(w, c, v, buf + n, grow);
        else
            n += decimal_format(buf + n, w->factor[c] == 1.0 ? v : v / w->factor[c], w->decimals[c]);
    }
    return n;
}
