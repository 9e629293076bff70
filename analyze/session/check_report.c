#include "analyze/session/check_internal.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PUSHED_CMH2O 4.0

static int by_size(const void *a, const void *b)
{
    const int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

void check_settle_steps(struct check *c)
{
    if (c->n_first == 0 || c->median_ns > 0)
        return;
    qsort(c->first, c->n_first, sizeof c->first[0], by_size);
    c->median_ns = c->first[c->n_first / 2];
    for (size_t i = 0; i < c->n_first; i++) {
        c->steps++;
        c->odd_steps += llabs(c->first[i] - c->median_ns) * 10 > c->median_ns;
    }
}

static double quantile(const struct channel_state *s, double fraction)
{
    uint64_t below = 0;
    for (size_t b = 0; b < CHECK_BINS; b++) {
        below += s->bin[b];
        if (below > 0 && (double)below >= fraction * (double)s->n)
            return b == 0 ? 0 : check_bin_value(b);
    }
    return (double)NAN;
}

static void PRINTF_LIKE(5, 6) note(struct check_report *r, enum check_finding what, enum channel ch, const char *mend,
                                   const char *fmt, ...)
{
    if (r->n_notes == CHECK_NOTES_MAX)
        return;
    struct check_note *n = &r->note[r->n_notes++];
    n->what = what;
    n->channel = ch;
    (void)snprintf(n->mend, sizeof n->mend, "%s", mend);
    va_list ap;
    va_start(ap, fmt);
    (void)vsnprintf(n->text, sizeof n->text, fmt, ap);
    va_end(ap);
}

static void fill_channel(struct check_channel *o, const struct channel_state *s)
{
    o->n = s->n;
    o->missing = s->missing;
    o->min = s->n ? s->min : (double)NAN;
    o->max = s->n ? s->max : (double)NAN;
    o->abs50 = s->n ? quantile(s, 0.5) : (double)NAN;
    o->abs99 = s->n ? quantile(s, 0.99) : (double)NAN;
    o->step = s->step;
    o->at_min = s->at_min;
    o->at_max = s->at_max;
    o->stuck_s = (double)s->stuck_ns * 1e-9;
    o->stuck_at_ns = s->stuck_ns > 0 ? s->stuck_at : -1;
}

static const char *const names[CH_N] = {"pressure", "flow", "volume", "oesophageal pressure",
                                        "CO2", "SpO2", "FiO2", "phase"};

static void judge_channel(struct check_report *r, enum channel ch)
{
    const struct check_channel *c = &r->channel[ch];
    if (c->n + c->missing == 0)
        return;
    if (c->missing > 0)
        note(r, CHECK_MISSING, ch, "", "%s is empty in %llu of %llu samples", names[ch], (unsigned long long)c->missing,
             (unsigned long long)(c->n + c->missing));
    if (ch != CH_PAW && ch != CH_FLOW)
        return; /* slow signals stand still by nature */
    if (c->n > 1 && !(c->step > 0)) {
        note(r, CHECK_FLAT, ch, "look at the sensor and its line", "%s never changes", names[ch]);
        return;
    }
    if (c->stuck_s >= CHECK_STUCK_S)
        note(r, CHECK_STUCK, ch, "a stuck sensor or line, or an open circuit",
             "%s does not change for %.1f s from %.1f s on", names[ch], c->stuck_s, (double)c->stuck_at_ns * 1e-9);
    /* Coarse steps make equal samples at a plateau: only a channel of fine steps is judged. */
    if ((c->max - c->min) / c->step < 100)
        return;
    const double share_max = (double)c->at_max / (double)c->n, share_min = (double)c->at_min / (double)c->n;
    if (share_max > 0.001)
        note(r, CHECK_CLIPPED, ch, "the range of the sensor ends there", "%s stands at its highest value, %.3g, in %llu samples",
             names[ch], c->max, (unsigned long long)c->at_max);
    /* An open circuit rests at its lowest pressure. */
    if (ch == CH_FLOW && share_min > 0.001)
        note(r, CHECK_CLIPPED, ch, "the range of the sensor ends there", "%s stands at its lowest value, %.3g, in %llu samples",
             names[ch], c->min, (unsigned long long)c->at_min);
}

static void judge_units(struct check_report *r, const struct recording_info *info)
{
    const struct check_channel *p = &r->channel[CH_PAW], *q = &r->channel[CH_FLOW];
    if (p->abs99 > 150)
        note(r, CHECK_UNIT_PRESSURE, CH_PAW, "pascal or millimetres read as a larger unit: see --pressure-unit",
             "pressure is over %.0f cmH2O in 1 of 100 samples", p->abs99);
    else if (p->abs99 < 3 && p->step > 0) /* one that never changes is told as that */
        note(r, CHECK_UNIT_PRESSURE, CH_PAW, "kilopascal read as a smaller unit, or nobody connected: see --pressure-unit",
             "pressure is under %.2g cmH2O in 99 of 100 samples", p->abs99);
    if (info->flow_uncalibrated)
        return;
    /* An open circuit can draw as much for a while; a wrong unit shows in half of all samples. */
    if (q->abs99 > 4 && q->abs50 > 0.5)
        note(r, CHECK_UNIT_FLOW, CH_FLOW, "L/min or mL/s read as L/s: see --flow-unit",
             "flow is over %.3g L/s in 1 of 100 samples", q->abs99);
    else if (q->abs99 < 0.02 && q->step > 0)
        note(r, CHECK_UNIT_FLOW, CH_FLOW, "L/s read as L/min, or nobody connected: see --flow-unit",
             "flow is under %.2g L/s in 99 of 100 samples", q->abs99);
}

static void judge_signs(struct check_report *r)
{
    const uint64_t steps = r->steps_same + r->steps_opposite;
    /* Who breathes without a push pulls pressure down as gas flows in: his jumps part, too. */
    const bool pushed = r->channel[CH_PAW].abs99 - r->channel[CH_PAW].abs50 >= PUSHED_CMH2O;
    if (steps >= 20 && r->steps_opposite > 3 * r->steps_same && pushed)
        note(r, CHECK_SIGN, CH_FLOW, "--invert flow, if outward flow was stored as positive",
             "where the machine's valves act, flow falls as pressure rises, in %llu of %llu steps",
             (unsigned long long)r->steps_opposite, (unsigned long long)steps);
    const double in = r->inspired_l, out = r->expired_l;
    if (in + out > 1 && (in > 1.5 * out || out > 1.5 * in))
        note(r, CHECK_NO_RETURN, CH_FLOW, "a large leak, an offset, or a sensor that sees one direction",
             "%.0f L flowed in and %.0f L out", in, out);
}

void check_end(struct check *c, struct check_report *r)
{
    check_settle_steps(c);
    const bool steps = c->steps > 0;
    c->r.step_median_s = steps ? (double)c->median_ns * 1e-9 : (double)NAN;
    c->r.step_min_s = steps ? (double)c->min_ns * 1e-9 : (double)NAN;
    c->r.step_max_s = steps ? (double)c->max_ns * 1e-9 : (double)NAN;
    c->r.jitter = steps ? (double)c->odd_steps / (double)c->steps : (double)NAN;
    c->r.hole_s = (double)c->hole_ns * 1e-9;
    c->r.longest_hole_s = (double)c->longest_ns * 1e-9;
    *r = c->r;
    for (int i = 0; i < CH_N; i++)
        fill_channel(&r->channel[i], &c->ch[i]);
    if (r->samples == 0)
        return;
    if (r->holes > 0)
        note(r, CHECK_GAPS, CH_N, "", "%llu hole%s, %.1f s in all; the longest, %.1f s, from %.1f s on",
             (unsigned long long)r->holes, r->holes == 1 ? "" : "s", r->hole_s, r->longest_hole_s, (double)r->longest_hole_at_ns * 1e-9);
    if (r->jitter > 0.01)
        note(r, CHECK_JITTER, CH_N, "", "steps vary: %.1f to %.1f ms about %.1f; %.1f %% part by over a tenth",
             r->step_min_s * 1e3, r->step_max_s * 1e3, r->step_median_s * 1e3, r->jitter * 100);
    for (int i = 0; i < CH_N; i++)
        judge_channel(r, (enum channel)i);
    judge_units(r, c->info);
    judge_signs(r);
}
