/* The unit of each mapped column: the option, else the heading, else the row of units; else a question. */
#include "ingest/import/mapping.h"

#include "ingest/decimal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* The first value, the largest, and the last: they tell one unit from another. */
static void three_values(const struct mapping_from *from, int column, double v[3])
{
    const struct layout *l = from->layout;
    const struct peek *k = from->peek;
    struct field f[COLUMNS_MAX];
    bool any = false;
    for (size_t at = l->data_from; at < k->n;) {
        struct record r = record_take(k->p + at, k->n - at, l->delimiter, k->final);
        if (r.kind == REC_MORE || r.kind == REC_LONG)
            break;
        at += r.used;
        if (r.kind != REC_ROW)
            continue;
        size_t n = record_split(&r, l->delimiter, f, COLUMNS_MAX);
        double x;
        if ((size_t)column >= n || n > COLUMNS_MAX ||
            decimal_parse(f[column].p, f[column].n, l->point, &x, NULL) != DECIMAL_OK)
            continue;
        if (!any)
            v[0] = v[1] = x;
        any = true;
        v[1] = fabs(x) > fabs(v[1]) ? x : v[1];
        v[2] = x;
    }
}

static const char *unit_mend(enum quantity q)
{
    if (q == Q_FLOW)
        return "say it: --flow-unit L/s, L/min, mL/s or uncalibrated";
    return "say it: --pressure-unit cmH2O, mbar, hPa or kPa";
}

static int ask(const struct mapping_from *from, int column, enum quantity q, struct err *e)
{
    static const char *const units[2][3] = {{"L/s", "L/min", "mL/s"}, {"cmH2O", "mbar or hPa", "kPa"}};
    static const char *const codes[2][3] = {{"L/s", "L/min", "mL/s"}, {"cm[H2O]", "hPa", "kPa"}};
    double v[3] = {0, 0, 0};
    char text[200] = "", name[COLUMN_TEXT];
    size_t at = 0, row = q == Q_PRESSURE;
    three_values(from, column, v);
    for (size_t i = 0; i < 3 && at < sizeof text; i++) {
        const struct unit *u = unit_find_ucum(codes[row][i], strlen(codes[row][i]), q);
        double f = u ? u->factor : 1;
        at += (size_t)snprintf(text + at, sizeof text - at, "%s%.3g, %.3g, %.3g if %s", i ? "; " : "", v[0] * f,
                               v[1] * f, v[2] * f, units[row][i]);
    }
    return err_set(e, TM_ERR_INPUT, from->peek->file, from->layout->header_line, unit_mend(q),
                   "%s has no unit; three values in %s: %s", mapping_column(from->layout, column, name),
                   q == Q_FLOW ? "L/s" : "cmH2O", text);
}

/* The heading's unit, or that of the row of units. */
static struct heading written(const struct layout *l, size_t i, enum use use)
{
    struct heading h = {.use = use, .gas = ""};
    if (i < l->named && l->name[i].n > 0)
        h = heading_of(l->name[i].p, l->name[i].n, use);
    if (!h.unit && l->has_units && l->unit[i].n > 0) {
        h.unit = heading_unit(l->unit[i].p, l->unit[i].n, use);
        size_t n = l->unit[i].n < sizeof h.strange ? l->unit[i].n : sizeof h.strange - 1;
        if (!h.unit && !h.strange[0])
            memcpy(h.strange, l->unit[i].p, n);
    }
    return h;
}

static int by_option(struct mapped *c, const struct mapping_from *from, const char *option, const struct heading *h,
                     enum quantity q, struct err *e)
{
    char name[COLUMN_TEXT];
    c->unit = unit_find(option, strlen(option), q);
    if (!c->unit)
        return err_set(e, TM_ERR_USAGE, NULL, 0,
                       q == Q_FLOW ? "L/s, L/min, mL/s or uncalibrated" : "cmH2O, mbar, hPa or kPa",
                       "%s: '%.40s' is no unit that is known here", q == Q_FLOW ? "--flow-unit" : "--pressure-unit", option);
    if (h->unit && h->unit != c->unit)
        notice_send(from->sink, NOTICE_NOTE, "unit_overruled", from->peek->file, from->layout->header_line, "",
                    "%s is read as %s, as asked, though the file says %s", mapping_column(from->layout, c->column, name),
                    option, h->unit->ucum);
    return TM_OK;
}

static int unit_of(struct mapping *m, enum use use, const struct mapping_from *from, struct err *e)
{
    const struct layout *l = from->layout;
    struct mapped *c = &m->of[use];
    enum quantity q = use_quantity(use);
    if (c->column < 0)
        return TM_OK;
    struct heading h = written(l, (size_t)c->column, use);
    const char *option = q == Q_FLOW ? from->opts->flow_unit : q == Q_PRESSURE ? from->opts->pressure_unit : NULL;
    c->gas = h.gas;
    if (option)
        return by_option(c, from, option, &h, q, e);
    c->unit = q == Q_NUMBER ? unit_of_quantity(Q_NUMBER, 0) : h.unit;
    if (c->unit)
        return TM_OK;
    char name[COLUMN_TEXT];
    mapping_column(l, c->column, name);
    if (use != (enum use)CH_PAW && q != Q_FLOW) {
        notice_send(from->sink, NOTICE_NOTE, "left_out", from->peek->file, l->header_line,
                    "name the unit in the heading, e.g. volume_ml, pes_cmh2o, co2_mmhg, spo2_pct",
                    "%s could be %s but names no unit that is known: left out", name, use_name(use));
        c->column = -1;
        return TM_OK;
    }
    if (h.strange[0])
        return err_set(e, TM_ERR_INPUT, from->peek->file, l->header_line, unit_mend(q), "%s: '%s' is no unit of %s", name,
                       h.strange, q == Q_FLOW ? "flow" : "pressure");
    return ask(from, c->column, q, e);
}

int mapping_units(struct mapping *m, const struct mapping_from *from, struct err *e)
{
    for (int u = 0; u < (int)SLOTS; u++) {
        int rc = unit_of(m, (enum use)u, from, e);
        if (rc != TM_OK)
            return rc;
    }
    const struct unit *in = m->of[CH_FLOW].unit;
    const struct unit *out = m->of[USE_FLOW_OUT].unit;
    if (out && in != out)
        return err_set(e, TM_ERR_INPUT, from->peek->file, from->layout->header_line, unit_mend(Q_FLOW),
                       "inspired flow is in %s, expired flow in %s", in->ucum, out->ucum);
    return TM_OK;
}
