#include "analyze/session/steps.h"
#include "analyze/breath/order.h"

#include <math.h>
#include <string.h>

#define SPAN_NS (STEP_SPAN_S * INT64_C(1000000000))

static double middle(const double *v, int n)
{
    double copy[STEP_VALUES];
    memcpy(copy, v, (size_t)n * sizeof *v);
    return order_median(copy, n);
}

static void settle(struct step_finder *f, double v)
{
    f->level[f->next] = v;
    f->next = (f->next + 1) % STEP_VALUES;
    f->n_level += f->n_level < STEP_VALUES;
}

/* Lets the run's first values go, up to the next that is off the level: into the level, unless the run came back to it. */
static void shorten(struct step_finder *f, double level, double off)
{
    int k = 0, back = 0;
    for (int i = 0; i < f->n_run; i++)
        back += !(fabs(f->run[i] - level) > off);
    do {
        const bool astray = back > STEP_VALUES - STEP_AGREE && fabs(f->run[k] - level) > off;
        if (!astray)
            settle(f, f->run[k]);
        k++;
    } while (k < f->n_run && !(fabs(f->run[k] - middle(f->level, f->n_level)) > off));
    f->n_run -= k;
    memmove(f->run, f->run + k, (size_t)f->n_run * sizeof f->run[0]);
    memmove(f->run_ns, f->run_ns + k, (size_t)f->n_run * sizeof f->run_ns[0]);
}

/* Median absolute deviation about m. */
static double scatter(const double *v, double m)
{
    double d[STEP_VALUES];
    for (int i = 0; i < STEP_VALUES; i++)
        d[i] = fabs(v[i] - m);
    return order_median(d, STEP_VALUES);
}

static bool stays(const struct step_finder *f, double level, double counts, double *to)
{
    const double m = middle(f->run, f->n_run), side = m > level ? 1 : -1;
    int agree = 0;
    for (int i = 0; i < f->n_run; i++)
        agree += side * (f->run[i] - level) > counts / 2;
    *to = m;
    const double step = side * (m - level);
    return step >= counts && agree >= STEP_AGREE && fmax(scatter(f->run, m), scatter(f->level, level)) <= STEP_SCATTER * step;
}

/* The run is the new level; what is off it at its end may be the next step already. */
static void restart(struct step_finder *f, double to, double off)
{
    int tail = 0;
    while (tail < STEP_VALUES / 2 && fabs(f->run[STEP_VALUES - 1 - tail] - to) > off)
        tail++;
    for (int i = 0; i < STEP_VALUES; i++)
        f->level[i] = i < STEP_VALUES - tail ? f->run[i] : to;
    memmove(f->run, f->run + STEP_VALUES - tail, (size_t)tail * sizeof f->run[0]);
    memmove(f->run_ns, f->run_ns + STEP_VALUES - tail, (size_t)tail * sizeof f->run_ns[0]);
    f->next = 0;
    f->n_run = tail;
}

bool step_add(struct step_finder *f, double v, int64_t at_ns, double counts, double share, struct step *out)
{
    if (f->n_level > 0 && at_ns - f->last_ns > SPAN_NS)
        f->n_level = f->next = f->n_run = 0;
    f->last_ns = at_ns;
    if (f->n_level < STEP_VALUES) {
        settle(f, v);
        return false;
    }
    const double level = middle(f->level, f->n_level), size = fmax(counts, share * fabs(level));
    if (f->n_run == 0 && !(fabs(v - level) > size / 2)) {
        settle(f, v);
        return false;
    }
    f->run[f->n_run] = v;
    f->run_ns[f->n_run++] = at_ns;
    if (f->n_run < STEP_VALUES)
        return false;
    double to;
    if (!stays(f, level, size, &to) || at_ns - f->run_ns[0] > SPAN_NS) {
        shorten(f, level, size / 2);
        return false;
    }
    int first = 0; /* the run may begin with something between */
    while (first + 1 < STEP_VALUES && fabs(f->run[first] - to) > fabs(to - level) / 4)
        first++;
    *out = (struct step){.at_ns = f->run_ns[first], .from = level, .to = to};
    restart(f, to, size / 2);
    return true;
}
