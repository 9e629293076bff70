#include "analyze/breath/peaks.h"

#include "analyze/breath/extreme.h"
static double median3(double a, double b, double c)
{
    double lo = smaller(a, b), hi = larger(a, b);
    return c < lo ? lo : c > hi ? hi : c;
}

/* Above 150 Hz single samples would give noise more chances than at 100 Hz: means of 10 ms take their place. */
#define GRAIN_S 0.010

static double peak_of_grains(const struct ring *r, uint64_t from, uint64_t to)
{
    uint64_t k = ring_count(r, GRAIN_S);
    double best = -INFINITY, a = ring_p_mean(r, from, from + k), b = ring_p_mean(r, from + k, from + 2 * k);
    for (uint64_t i = from + 2 * k; i + k <= to + 1; i += k) {
        double c = ring_p_mean(r, i, i + k);
        best = larger(best, median3(a, b, c));
        a = b;
        b = c;
    }
    /* A ramp's last grain has no neighbour behind it, and its mean lies half a grain before the end. */
    double last = ring_p_mean(r, to + 1 - k, to + 1), before = ring_p_mean(r, to + 1 - 2 * k, to + 1 - k);
    return larger(best, smaller(last + 0.5 * (last - before), 2 * b - a));
}

double peak_pressure(const struct ring *r, uint64_t from, uint64_t to)
{
    double best = -INFINITY;
    uint64_t at = from;
    if (to > from + 5 * ring_count(r, GRAIN_S) && ring_count(r, GRAIN_S) > 1)
        return peak_of_grains(r, from, to);
    if (to < from + 2)
        return larger(ring_at(r, from)->p, ring_at(r, to)->p);
    for (uint64_t i = from + 1; i < to; i++) {
        double m = median3(ring_at(r, i - 1)->p, ring_at(r, i)->p, ring_at(r, i + 1)->p);
        if (m > best) {
            best = m;
            at = i;
        }
    }
    /* The last sample ends a ramp (volume control): it has no right neighbour of its own phase. */
    double last = 2 * ring_at(r, to - 1)->p - ring_at(r, to - 2)->p;
    double end = smaller(ring_at(r, to)->p, larger(last, ring_at(r, to - 1)->p));
    if (end > best)
        best = end;
    if (at < from + 2 || at + 2 > to)
        return best;
    double y[5];
    for (int k = 0; k < 5; k++)
        y[k] = ring_at(r, at + (uint64_t)k - 2)->p;
    double curve = (2 * y[0] - y[1] - 2 * y[2] - y[3] + 2 * y[4]) / 14;
    double slope = (-2 * y[0] - y[1] + y[3] + 2 * y[4]) / 10;
    double mid = (-3 * y[0] + 12 * y[1] + 17 * y[2] + 12 * y[3] - 3 * y[4]) / 35;
    /* Beside a cliff (the valve opens) the parabola overshoots: no vertex above every sample that made it. */
    double top = y[2];
    for (int k = 0; k < 5; k++)
        top = larger(top, y[k]);
    if (curve < 0 && fabs(slope) <= -4 * curve)
        best = larger(best, smaller(mid - slope * slope / (4 * curve), top));
    return best;
}

double peak_flow(const struct ring *r, uint64_t from, uint64_t to, double sign)
{
    double best = -INFINITY;
    if (to < from + 2)
        return larger(sign * ring_at(r, from)->q, sign * ring_at(r, to)->q);
    double a = sign * ring_at(r, from)->q, b = sign * ring_at(r, from + 1)->q;
    for (uint64_t i = from + 2; i <= to; i++) {
        double c = sign * ring_at(r, i)->q;
        /* Two of three have to be above: for most of a breath neither of the last two is. */
        if ((b > best || c > best) && (a > best) + (b > best) + (c > best) >= 2)
            best = median3(a, b, c);
        a = b;
        b = c;
    }
    return best;
}
