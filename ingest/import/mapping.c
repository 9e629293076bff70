#include "ingest/import/mapping.h"

#include "ingest/decimal.h"
#include "ingest/import/cell.h"

#include <stdio.h>
#include <string.h>

static void reset(struct mapping *m)
{
    memset(m, 0, sizeof *m);
    m->time = -1;
    for (size_t i = 0; i <= USE_FLOW_OUT; i++) {
        m->of[i].column = -1;
        m->of[i].sign = 1;
    }
}

/* The headings there are, as one line, for messages. */
static void list_columns(const struct layout *l, char *out, size_t cap)
{
    size_t n = 0;
    out[0] = '\0';
    for (size_t i = 0; i < l->named && n + 40 < cap; i++) {
        int len = (int)(l->name[i].n < 30 ? l->name[i].n : 30);
        n += (size_t)snprintf(out + n, cap - n, "%s%.*s", i ? ", " : "", len, l->name[i].p);
    }
    if (l->named == 0)
        (void)snprintf(out, cap, "%zu columns without headings, numbered from 1", l->columns);
}

/* A column by its heading, else by its number from 1; -1: there is none. */
static int column_of(const struct layout *l, const char *text, size_t n)
{
    for (size_t i = 0; i < l->named; i++)
        if (heading_same(l->name[i].p, l->name[i].n, text, n))
            return (int)i;
    uint64_t number;
    if (n > 0 && n < 4 && decimal_scan_u64(text, text + n, &number) == text + n && number >= 1 &&
        number <= l->columns)
        return (int)number - 1;
    return -1;
}

static int set_use(struct mapping *m, enum use use, int column)
{
    if (use == USE_FLOW_IN)
        use = (enum use)CH_FLOW;
    int *to = use == USE_TIME ? &m->time : &m->of[use].column;
    if (*to >= 0)
        return -1;
    *to = column;
    return 0;
}

static int by_option(struct mapping *m, const struct layout *l, const char *spec, struct err *e, const char *file)
{
    char have[200];
    list_columns(l, have, sizeof have);
    for (const char *p = spec; *p;) {
        const char *end = strchr(p, ',');
        size_t n = end ? (size_t)(end - p) : strlen(p);
        const char *eq = memchr(p, '=', n);
        if (!eq)
            return err_set(e, TM_ERR_USAGE, file, 0, "e.g. --columns time=t_s,pressure=paw,flow=3",
                           "--columns: `%.*s` is not name=column", (int)(n < 60 ? n : 60), p);
        enum use use = use_find(p, (size_t)(eq - p));
        if (use == USE_NONE)
            return err_set(e, TM_ERR_USAGE, file, 0,
                           "names: time, pressure, flow, flow_in, flow_out, volume, pes, co2, spo2, fio2, phase",
                           "--columns: `%.*s` is no signal's name", (int)(eq - p < 60 ? eq - p : 60), p);
        size_t len = n - (size_t)(eq + 1 - p);
        int column = column_of(l, eq + 1, len);
        if (column < 0)
            return err_set(e, TM_ERR_INPUT, file, l->header_line, have, "there is no column `%.*s`; the file has",
                           (int)(len < 60 ? len : 60), eq + 1);
        if (set_use(m, use, column) != 0)
            return err_set(e, TM_ERR_USAGE, file, 0, "", "--columns names %.*s twice", (int)(eq - p), p);
        p += n + (end != NULL);
    }
    return TM_OK;
}

static void by_headings(struct mapping *m, const struct layout *l)
{
    for (size_t i = 0; i < l->named; i++) {
        struct heading h = heading_read(l->name[i].p, l->name[i].n);
        if (h.use != USE_NONE)
            (void)set_use(m, h.use, (int)i); /* the first of several wins */
    }
}

/* Three values of a column as they stand, for the message that asks for a unit. */
static size_t three_values(const struct layout *l, const struct peek *k, int column, double v[3])
{
    struct field f[COLUMNS_MAX];
    size_t found = 0, rows = 0;
    double largest = 0;
    for (size_t at = l->data_from; at < k->n && rows < PEEK_ROWS;) {
        struct record r = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (r.kind == REC_MORE || r.kind == REC_LONG)
            break;
        at += r.used;
        if (r.kind != REC_ROW)
            continue;
        size_t n = record_split(&r, l->delimiter, f, COLUMNS_MAX);
        double x;
        if ((size_t)column < n && decimal_parse(f[column].p, f[column].n, l->point, &x, NULL) == DECIMAL_OK) {
            /* The first, the largest so far, the latest: values that tell one unit from another. */
            if (found == 0)
                v[0] = x, found = 1;
            if (x * x > largest * largest)
                largest = x;
            v[1] = largest;
            v[2] = x;
        }
        rows++;
    }
    return found ? 3 : 0;
}

static int ask_unit(const struct layout *l, const struct peek *k, int column, enum use use, struct err *e)
{
    double v[3] = {0, 0, 0};
    char text[220];
    size_t at = 0;
    bool flow = use_quantity(use) == Q_FLOW;
    static const char *const flows[] = {"L/s", "L/min", "mL/s"};
    static const char *const pressures[] = {"cm[H2O]", "mbar", "kPa"};
    (void)three_values(l, k, column, v);
    for (size_t i = 0; i < 3; i++) {
        const char *name = flow ? flows[i] : pressures[i];
        const struct unit *u = unit_find(name, strlen(name), flow ? Q_FLOW : Q_PRESSURE);
        double f = u ? u->factor : 1;
        at += (size_t)snprintf(text + at, sizeof text - at, "%sread as %s: %.3g, %.3g, %.3g %s", i ? "; " : "",
                               i == 0 && !flow ? "cmH2O" : name, v[0] * f, v[1] * f, v[2] * f,
                               flow ? "L/s" : "cmH2O");
    }
    return err_set(e, TM_ERR_INPUT, k->file, l->header_line,
                   flow ? "say it: --flow-unit L/s, L/min, mL/s or uncalibrated"
                        : "say it: --pressure-unit cmH2O, mbar, hPa or kPa",
                   "the unit of column %d (%s) stands nowhere; %s", column + 1, use_name(use), text);
}

static int unit_of(struct mapping *m, enum use use, const struct layout *l, const struct peek *k, const char *option,
                   const char *option_name, struct err *e)
{
    struct mapped *c = &m->of[use];
    enum quantity q = use_quantity(use);
    if (c->column < 0)
        return TM_OK;
    size_t i = (size_t)c->column;
    struct heading h = {.gas = ""};
    if (i < l->named)
        h = heading_of(l->name[i].p, l->name[i].n, use);
    strncpy(c->gas, h.gas, sizeof c->gas - 1);
    if (option) {
        c->unit = unit_find(option, strlen(option), q);
        if (!c->unit)
            return err_set(e, TM_ERR_USAGE, NULL, 0,
                           q == Q_FLOW ? "L/s, L/min, mL/s or uncalibrated" : "cmH2O, mbar, hPa or kPa",
                           "%s: `%.40s` is not a unit that is known", option_name, option);
        return TM_OK;
    }
    c->unit = h.unit;
    if (!c->unit && l->has_units && l->unit[i].p)
        c->unit = heading_unit(l->unit[i].p, l->unit[i].n, use);
    if (!c->unit && h.strange[0])
        return err_set(e, TM_ERR_INPUT, k->file, l->header_line,
                       q == Q_FLOW ? "say it: --flow-unit L/s, L/min, mL/s or uncalibrated"
                                   : "say it: --pressure-unit cmH2O, mbar, hPa or kPa",
                       "column %d: unknown unit `%s`", c->column + 1, h.strange);
    if (!c->unit && (q == Q_FLOW || q == Q_PRESSURE) && use != (enum use)CH_PES)
        return ask_unit(l, k, c->column, use, e);
    if (!c->unit)
        c->column = -1; /* an optional channel whose unit is nowhere is not read */
    return TM_OK;
}

static int time_of(struct mapping *m, const struct layout *l, const struct peek *k, const struct import_opts *o,
                   struct err *e)
{
    if (o->rate_hz > 0) {
        m->time = -1;
        return TM_OK;
    }
    if (m->time < 0)
        return err_set(e, TM_ERR_INPUT, k->file, l->header_line,
                       "name it: --columns time=..., or give the sampling rate: --rate 100",
                       "no column of time is recognised");
    size_t i = (size_t)m->time;
    struct heading h = {.gas = ""};
    if (i < l->named)
        h = heading_of(l->name[i].p, l->name[i].n, USE_TIME);
    if (!h.unit && l->has_units && l->unit[i].p)
        h.unit = heading_unit(l->unit[i].p, l->unit[i].n, USE_TIME);
    if (o->time_unit) {
        if (strcmp(o->time_unit, "s") == 0)
            m->stamp = STAMP_SECONDS;
        else if (strcmp(o->time_unit, "ms") == 0)
            m->stamp = STAMP_MILLI;
        else if (strcmp(o->time_unit, "us") == 0)
            m->stamp = STAMP_MICRO;
        else if (strcmp(o->time_unit, "clock") == 0)
            m->stamp = STAMP_CLOCK;
        else
            return err_set(e, TM_ERR_USAGE, NULL, 0, "s, ms, us or clock", "--time-unit: `%.40s` is not one",
                           o->time_unit);
        return TM_OK;
    }
    if (h.clock) {
        m->stamp = STAMP_CLOCK;
    } else if (h.unit) {
        m->stamp = strcmp(h.unit->ucum, "ms") == 0 ? STAMP_MILLI
                   : strcmp(h.unit->ucum, "us") == 0 ? STAMP_MICRO : STAMP_SECONDS;
    } else {
        struct field f[COLUMNS_MAX];
        m->bare_time = true;
        m->stamp = STAMP_SECONDS;
        struct record r = record_take(k->p + l->data_from, k->n - l->data_from, l->delimiter, k->final);
        size_t n = r.kind == REC_ROW ? record_split(&r, l->delimiter, f, COLUMNS_MAX) : 0;
        if (i < n && cell_kind(f[i].p, f[i].n) == CELL_TIME) {
            m->stamp = STAMP_CLOCK;
            m->bare_time = false;
        }
    }
    return TM_OK;
}

static bool inverted(const char *list, const char *name)
{
    const char *at = list ? strstr(list, name) : NULL;
    return at && (at == list || at[-1] == ',') && (at[strlen(name)] == '\0' || at[strlen(name)] == ',');
}

int mapping_find(struct mapping *m, const struct layout *l, const struct peek *k, const struct import_opts *o,
                 struct err *e)
{
    char have[200];
    reset(m);
    int rc = TM_OK;
    if (o->columns)
        rc = by_option(m, l, o->columns, e, k->file);
    else
        by_headings(m, l);
    if (rc != TM_OK)
        return rc;
    list_columns(l, have, sizeof have);
    static const struct {
        enum channel c;
        const char *what;
    } needed[] = {{CH_PAW, "pressure"}, {CH_FLOW, "flow"}};
    for (size_t i = 0; i < 2; i++)
        if (m->of[needed[i].c].column < 0)
            return err_set(e, TM_ERR_INPUT, k->file, l->header_line,
                           "name the columns: --columns time=...,pressure=...,flow=...",
                           "no column of %s is recognised among: %s", needed[i].what, have);
    rc = time_of(m, l, k, o, e);
    for (int u = 0; rc == TM_OK && u <= USE_FLOW_OUT; u++) {
        bool flow = u == CH_FLOW || u == USE_FLOW_OUT, paw = u == CH_PAW || u == CH_PES;
        rc = unit_of(m, (enum use)u, l, k, flow ? o->flow_unit : paw ? o->pressure_unit : NULL,
                     flow ? "--flow-unit" : "--pressure-unit", e);
    }
    if (o->invert && !inverted(o->invert, "flow") && !inverted(o->invert, "pressure"))
        return err_set(e, TM_ERR_USAGE, NULL, 0, "flow, pressure or flow,pressure", "--invert: `%.40s` is not one",
                       o->invert);
    if (inverted(o->invert, "flow"))
        m->of[CH_FLOW].sign = m->of[USE_FLOW_OUT].sign = -1;
    if (inverted(o->invert, "pressure"))
        m->of[CH_PAW].sign = -1;
    m->last = m->time;
    for (int u = 0; u <= USE_FLOW_OUT; u++)
        m->last = m->of[u].column > m->last ? m->of[u].column : m->last;
    return rc;
}
