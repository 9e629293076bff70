/* Which kind of stamps the column of time holds. */
#include "ingest/import/cell.h"
#include "ingest/import/mapping.h"

#include <string.h>

static enum stamp_kind of_unit(const struct unit *u)
{
    if (strcmp(u->ucum, "ms") == 0)
        return STAMP_MS;
    return strcmp(u->ucum, "us") == 0 ? STAMP_US : STAMP_S;
}

/* By the look of the first rows: a clock, a date with it, or numbers. */
static enum stamp_kind by_look(const struct mapping *m, const struct mapping_from *from)
{
    const struct layout *l = from->layout;
    const struct peek *k = from->peek;
    struct field f[COLUMNS_MAX];
    size_t at = l->data_from, i = (size_t)m->time;
    int clock = 0, date = 0, number = 0;
    for (int rows = 0; rows < 50 && at < k->n;) {
        struct record r = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (r.kind == REC_MORE || r.kind == REC_LONG)
            break;
        at += r.used;
        if (r.kind != REC_ROW)
            continue;
        rows++;
        if (record_split(&r, l->delimiter, f, COLUMNS_MAX) <= i)
            continue;
        struct stamp s;
        number += cell_kind(f[i].p, f[i].n) == CELL_NUMBER || cell_kind(f[i].p, f[i].n) == CELL_COMMA;
        clock += stamp_parse(STAMP_CLOCK, f[i].p, f[i].n, l->point, &s);
        date += stamp_parse(STAMP_DATE, f[i].p, f[i].n, l->point, &s);
    }
    if (date > number && date >= clock)
        return STAMP_DATE;
    return clock > number ? STAMP_CLOCK : STAMP_UNSAID;
}

int mapping_time(struct mapping *m, const struct mapping_from *from, struct err *e)
{
    const struct layout *l = from->layout;
    const struct import_opts *o = from->opts;
    m->stamp = STAMP_NONE;
    if (m->time < 0 && o->rate_hz > 0)
        return TM_OK;
    if (m->time < 0)
        return err_set(e, TM_ERR_INPUT, from->peek->file, l->header_line,
                       "name it: --columns time=NAME or NUMBER; or give the sampling rate: --rate 100",
                       "no column of time is recognised");
    enum stamp_kind look = by_look(m, from);
    const char *text = o->time_unit;
    if (text && strcmp(text, "clock") == 0) {
        m->stamp = look == STAMP_DATE ? STAMP_DATE : STAMP_CLOCK;
        return TM_OK;
    }
    if (text) {
        const struct unit *u = unit_find(text, strlen(text), Q_TIME);
        if (!u)
            return err_set(e, TM_ERR_USAGE, NULL, 0, "s, ms, us or clock", "--time-unit: '%.40s' is no unit of time",
                           text);
        m->stamp = of_unit(u);
        return TM_OK;
    }
    size_t i = (size_t)m->time;
    struct heading h = {.gas = ""};
    if (i < l->named && l->name[i].n > 0)
        h = heading_of(l->name[i].p, l->name[i].n, USE_TIME);
    if (!h.unit && l->has_units && l->unit[i].n > 0)
        h.unit = heading_unit(l->unit[i].p, l->unit[i].n, USE_TIME);
    m->stamp = look;
    if (look == STAMP_UNSAID && h.strange[0])
        return err_set(e, TM_ERR_INPUT, from->peek->file, l->header_line, "say it: --time-unit s, ms, us or clock",
                       "unknown unit of time '%s'", h.strange);
    if (look == STAMP_UNSAID && h.unit)
        m->stamp = of_unit(h.unit);
    return TM_OK;
}
