/* One record the careful way: its time, its values, and what is wrong with it. */
#include "ingest/import/text_internal.h"

#include "ingest/rfc3339.h"

#include <math.h>
#include <string.h>

enum timed { TIME_GOOD, TIME_REPEATS, TIME_FALLS };

/* The first stamp is recording time 0. With a date, it is the recording's start. */
static void start(struct text_reader *r, const struct stamp *s)
{
    struct recording_info *info = &r->info;
    r->started = true;
    r->clock.first_ns = s->ns;
    r->clock.last_ns = 0;
    info->first_source_ns = s->ns;
    if (r->plan.stamp != STAMP_DATE || r->dated_start || !s->offset_known)
        return;
    r->dated_start = true;
    info->start_known = true;
    info->start_unix_ns = s->ns;
    info->start_offset_min = s->offset_min;
    (void)rfc3339_format(info->start, s->ns, s->offset_min, 9);
}

static enum timed place(struct text_reader *r, const struct stamp *s, int64_t *t_ns)
{
    struct row_clock *k = &r->clock;
    if (!r->started) {
        start(r, s);
        *t_ns = 0;
        return TIME_GOOD;
    }
    int64_t t = s->ns + r->day_ns - k->first_ns;
    if (r->plan.stamp == STAMP_CLOCK && k->last_ns - t > DAY_NS / 2) {
        r->day_ns += DAY_NS;
        t += DAY_NS;
    }
    *t_ns = t;
    if (t <= k->last_ns)
        return t == k->last_ns ? TIME_REPEATS : TIME_FALLS;
    int64_t step = t - k->last_ns;
    k->min_ns = step < k->min_ns ? step : k->min_ns;
    k->max_ns = step > k->max_ns ? step : k->max_ns;
    if (step > k->limit_ns) {
        r->holes++;
        r->hole_ns += step;
    }
    k->last_ns = t;
    return TIME_GOOD;
}

static void put(struct text_reader *r, int64_t t_ns, const struct row *row, struct sample_block *b)
{
    size_t n = b->n++;
    b->t_ns[n] = t_ns;
    for (int c = 0; c < CH_N; c++)
        if (b->channels >> c & 1)
            b->v[c][n] = row->v[c];
    r->flow_out[n] = row->v[USE_FLOW_OUT];
    r->tally[TALLY_EMPTY] += (uint64_t)row->empty;
    r->rows++;
}

/* Where only a rate is known, a line that can't be read keeps its place as a sample that was not measured. */
static void keep_place(struct text_reader *r, struct sample_block *b)
{
    struct row row = {.empty = 0};
    for (size_t s = 0; s < SLOTS; s++)
        row.v[s] = (double)NAN;
    if (r->plan.time < 0)
        put(r, r->clock.last_ns = grid_take(&r->clock.grid), &row, b);
}

bool text_take_record(struct text_reader *r, const struct record *rec, struct sample_block *b)
{
    struct row row;
    struct row_fault fault[SLOTS + 1];
    uint64_t line = r->line + 1;
    int faults = 0;
    r->line += rec->lines;
    if (rec->kind == REC_BLANK || rec->kind == REC_COMMENT)
        return true;
    if (rec->kind != REC_ROW) {
        say_record(r, rec, line);
        r->passing = rec->kind == REC_LONG && rec->lines == 0;
        keep_place(r, b);
        return true;
    }
    bool good = row_careful(&r->plan, rec, &row, fault, &faults);
    if (!good) {
        say_fault(r, &fault[0], line);
        keep_place(r, b);
        return true;
    }
    int64_t t_ns;
    enum timed timed = TIME_GOOD;
    if (r->plan.time < 0)
        t_ns = r->clock.last_ns = grid_take(&r->clock.grid);
    else
        timed = place(r, &row.stamp, &t_ns);
    if (timed == TIME_FALLS) {
        say_fall(r, t_ns, line);
        return false;
    }
    if (timed == TIME_REPEATS) {
        say_repeat(r, line);
        return true;
    }
    for (int i = 0; i < faults; i++)
        say_fault(r, &fault[i], line);
    put(r, t_ns, &row, b);
    return true;
}
