#include "ingest/log/host_fit.h"

#include <math.h>
#include <string.h>

#define RESTART_NS   1e9
#define GAIN_PHASE   0.5
#define GAIN_STEP    0.05
#define TRIM_MAX     0.01
#define STEP_OFF_MAX 0.02

void host_fit_init(struct host_fit *f, int64_t rate_num, int64_t rate_den)
{
    memset(f, 0, sizeof *f);
    f->nominal_ns = 1e9 * (double)rate_den / (double)rate_num;
    f->step = f->nominal_ns;
    f->window = (rate_num + rate_den - 1) / rate_den;
    if (f->window < 1)
        f->window = 1;
}

void host_fit_restart(struct host_fit *f)
{
    f->running = false;
}

static double clamp(double v, double limit)
{
    return v > limit ? limit : v < -limit ? -limit : v;
}

static void start_at(struct host_fit *f, int64_t ns)
{
    f->base = ns;
    f->offset = 0;
    f->trim = 0;
    f->n = 0;
    f->running = true;
}

static void end_window(struct host_fit *f)
{
    double window = (double)f->window;
    double nominal = f->nominal_ns;
    f->trim = clamp(GAIN_PHASE * f->least / window, TRIM_MAX * nominal);
    double off = f->step - nominal + clamp(GAIN_STEP * f->least / window, TRIM_MAX * nominal);
    f->step = nominal + clamp(off, STEP_OFF_MAX * nominal);
    f->n = 0;
}

int64_t host_fit_push(struct host_fit *f, int64_t arrival_ns, int64_t after_ns)
{
    if (f->running) {
        f->offset += f->step + f->trim;
        if ((double)(arrival_ns - f->base) - f->offset > RESTART_NS)
            f->running = false;
    }
    if (!f->running) {
        int64_t least = after_ns == INT64_MIN ? INT64_MIN : after_ns + (int64_t)f->nominal_ns;
        start_at(f, arrival_ns > least ? arrival_ns : least);
        return f->base;
    }
    double late = (double)(arrival_ns - f->base) - f->offset;
    if (f->n == 0 || late < f->least)
        f->least = late;
    if (++f->n == f->window)
        end_window(f);
    int64_t t = f->base + (int64_t)floor(f->offset);
    return after_ns != INT64_MIN && t <= after_ns ? after_ns + 1 : t;
}
