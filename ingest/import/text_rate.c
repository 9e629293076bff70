/* The rate of delimited text: from the stamps of its first rows, or as given; and whether it can be used. */
#include "ingest/import/text_internal.h"

#include "ingest/decimal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE_MIN 25.0
#define RATE_MAX 1000.0
#define SLACK    1.005 /* a clock half a percent off is no reason to refuse */

/* What the first rows tell: stamps, rising but for repeats, and decimals. */
struct first_rows {
    int64_t t[PEEK_ROWS];
    int n;
    int places; /* most decimals of a second in a stamp */
};

static void most_decimals(struct text_reader *r, const struct record *rec)
{
    struct field f[COLUMNS_MAX];
    size_t have = record_split(rec, r->plan.delimiter, f, COLUMNS_MAX);
    for (size_t s = 0; s < SLOTS; s++) {
        int c = r->plan.column[s], places;
        double v;
        if (c < 0 || (size_t)c >= have || decimal_parse(f[c].p, f[c].n, r->plan.point, &v, &places) != DECIMAL_OK)
            continue;
        struct channel_info *info = &r->info.channel[s == USE_FLOW_OUT ? (size_t)CH_FLOW : s];
        places = places > DECIMAL_PLACES_MAX ? DECIMAL_PLACES_MAX : places;
        info->decimals = places > info->decimals ? places : info->decimals;
    }
}

static void read_first_rows(struct text_reader *r, const struct layout *l, const struct peek *k, struct first_rows *x)
{
    struct row row;
    struct row_fault fault[SLOTS + 1];
    int faults;
    int64_t day = 0;
    x->n = x->places = 0;
    for (size_t at = l->data_from; at < k->n && x->n < PEEK_ROWS;) {
        struct record rec = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (rec.kind == REC_MORE || rec.kind == REC_LONG)
            break;
        at += rec.used;
        if (rec.kind != REC_ROW || !row_careful(&r->plan, &rec, &row, fault, &faults))
            continue;
        most_decimals(r, &rec);
        int64_t t = row.stamp.ns + day;
        if (x->n > 0 && r->plan.stamp == STAMP_CLOCK && x->t[x->n - 1] - t > DAY_NS / 2) {
            day += DAY_NS;
            t += DAY_NS;
        }
        if (x->n > 0 && t < x->t[x->n - 1])
            break;
        x->places = row.stamp.places > x->places ? row.stamp.places : x->places;
        x->t[x->n++] = t;
    }
}

static int check_rate(const struct text_reader *r, double hz, struct err *e)
{
    double after = hz / (double)r->mean.per;
    if (after > RATE_MAX * SLACK)
        return err_set(e, TM_ERR_INPUT, r->path, 0, "average samples into one, so that 25 to 1000 Hz are left: --average N",
                       "%.6g samples a second are more than 1000; --average %.0f would do", after,
                       ceil(hz / (RATE_MAX * SLACK)));
    if (after < RATE_MIN / SLACK)
        return err_set(e, TM_ERR_INPUT, r->path, 0, "25 to 1000 Hz can be used; is the unit of time right (--time-unit)?",
                       "%.4g samples a second are fewer than 25", after);
    return TM_OK;
}

static int ask_time_unit(const struct text_reader *r, const struct pace *p, uint64_t line, struct err *e)
{
    double hz = 1e9 / (double)p->median_ns;
    return err_set(e, TM_ERR_INPUT, r->path, line, "say it: --time-unit s, ms or us",
                   "the time has no unit; a step of %.6g would be %.4g Hz in s, %.4g Hz in ms, %.4g Hz in us: not 25 to "
                   "1000 Hz in s",
                   (double)p->median_ns * 1e-9, hz, hz * 1e3, hz * 1e6);
}

static void use_rate(struct text_reader *r, double hz)
{
    struct recording_info *info = &r->info;
    pace_fraction(hz, &info->rate_num, &info->rate_den);
    grid_start(&r->clock.grid, info->rate_num, info->rate_den);
    info->regular = true;
    info->clock = CLOCK_RATE_ONLY;
    info->first_source_ns = 0;
    r->plan.time = -1;
    /* The column of time is now one that is passed over. */
    row_plan_steps(&r->plan);
    r->plan.may_be_fast = r->plan.point == '.';
    r->clock.limit_ns = gap_limit_of(true, (int64_t)(1e9 / hz));
}

/* Stamps and a rate: coarse stamps give way to the rate, others are better than it. */
static bool rate_wins(struct text_reader *r, const struct import_opts *o, const struct pace *p)
{
    bool coarse = p->repeats * 3 >= p->steps;
    if (r->plan.time < 0)
        return true;
    if (!(o->rate_hz > 0))
        return false;
    notice_send(&r->sink, NOTICE_NOTE, coarse ? "rate_wins" : "stamps_win", r->path, 0, "",
                coarse ? "the stamps are too coarse to place samples: times are counted from the rate given"
                       : "samples keep the times of their stamps; the rate given is not needed");
    return coarse;
}

/* With averaging, what leaves is slower by that much. */
static void slow_down(struct text_reader *r)
{
    struct recording_info *info = &r->info;
    long per = r->mean.per;
    int64_t step = info->regular ? r->clock.limit_ns / 3 * 2 : r->median_ns;
    info->gap_limit_ns = per > 1 ? gap_limit_of(info->regular, step * per) : r->clock.limit_ns;
    info->rate_den *= per;
    for (int64_t d = per; d > 1; d--)
        if (info->rate_num % d == 0 && info->rate_den % d == 0) {
            info->rate_num /= d;
            info->rate_den /= d;
        }
    for (int c = 0; per > 1 && c < CH_N; c++) {
        int *places = &info->channel[c].decimals;
        *places = *places < 0 ? 9 : *places > 9 ? 12 : *places + 3;
        r->mean.scale[c] = decimal_pow10[*places];
        r->mean.factor[c] = r->plan.factor[c] < 0 ? -r->plan.factor[c] : r->plan.factor[c];
    }
}

static int from_stamps(struct text_reader *r, const struct first_rows *x, const struct pace *p, uint64_t line,
                       struct err *e)
{
    if (x->n < 2 || p->steps == 0)
        return err_set(e, TM_ERR_INPUT, r->path, line, "check the column of time: --columns time=NAME or NUMBER",
                       x->n == 0 ? "no row of samples can be read" : "time does not move on: no rate can be found");
    if (p->repeats * 3 >= p->steps)
        return err_set(e, TM_ERR_INPUT, r->path, line, "give the sampling rate: --rate 100",
                       "the stamps are too coarse: %d of the first %d rows repeat the one before", p->repeats, x->n);
    double hz = 1e9 / (double)p->median_ns;
    if (r->plan.stamp == STAMP_UNSAID && (hz < RATE_MIN / SLACK || hz > RATE_MAX * SLACK))
        return ask_time_unit(r, p, line, e);
    r->info.regular = p->regular;
    r->info.rate_num = p->rate_num;
    r->info.rate_den = p->rate_den;
    r->info.clock = CLOCK_SOURCE;
    r->clock.limit_ns = p->gap_limit_ns;
    r->median_ns = p->median_ns;
    return TM_OK;
}

int text_check_rate(const struct import_opts *o, struct err *e)
{
    if (!isnan(o->rate_hz) && !(o->rate_hz > 0 && o->rate_hz < 1e6))
        return err_set(e, TM_ERR_USAGE, NULL, 0, "e.g. --rate 100", "--rate is a sampling rate in Hz");
    if (o->average < 0 || o->average > 1000000)
        return err_set(e, TM_ERR_USAGE, NULL, 0, "e.g. --average 4", "--average is a number of samples");
    return TM_OK;
}

int text_find_rate(struct text_reader *r, const struct layout *l, const struct peek *k, const struct import_opts *o,
                   struct err *e)
{
    struct first_rows *x = malloc(sizeof *x);
    if (!x)
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    struct pace p = {.steps = 0};
    int64_t resolution = 1;
    read_first_rows(r, l, k, x);
    for (int places = x->places; places < 9; places++)
        resolution *= 10;
    pace_find(x->t, x->n, resolution, &p);
    r->mean.per = o->average > 1 ? o->average : 1;
    r->clock.min_ns = INT64_MAX;
    r->clock.last_ns = -1;
    int rc = TM_OK;
    if (rate_wins(r, o, &p))
        use_rate(r, o->rate_hz);
    else
        rc = from_stamps(r, x, &p, l->lines + 1, e);
    bool none = x->n == 0;
    free(x);
    if (rc == TM_OK && none)
        rc = err_set(e, TM_ERR_INPUT, r->path, l->lines + 1, "", "no row of samples can be read");
    if (rc == TM_OK)
        rc = check_rate(r, (double)r->info.rate_num / (double)r->info.rate_den, e);
    if (rc != TM_OK)
        return rc;
    int places = r->info.channel[CH_FLOW].decimals;
    if (r->plan.column[USE_FLOW_OUT] >= 0)
        r->difference_scale = decimal_pow10[places < 0 ? 0 : places];
    slow_down(r);
    return TM_OK;
}
