#include "ingest/import/mapping.h"

#include "ingest/decimal.h"

#include <stdio.h>
#include <string.h>

const char *mapping_column(const struct layout *l, int column, char out[COLUMN_TEXT])
{
    size_t i = (size_t)column;
    if (i < l->named && l->name[i].n > 0)
        (void)snprintf(out, COLUMN_TEXT, "column %d (%.*s)", column + 1, (int)(l->name[i].n < 40 ? l->name[i].n : 40),
                       l->name[i].p);
    else
        (void)snprintf(out, COLUMN_TEXT, "column %d", column + 1);
    for (char *c = out; *c; c++)
        if ((unsigned char)*c < ' ' || (unsigned char)*c == 0x7F)
            *c = '?';
    return out;
}

/* The headings, or the first row of samples, as one line for messages. */
static void list_columns(const struct mapping_from *from, char *out, size_t cap)
{
    const struct layout *l = from->layout;
    const struct field *f = l->name;
    struct field row[COLUMNS_MAX];
    size_t n = l->named, at = 0;
    if (n == 0) {
        const struct peek *k = from->peek;
        struct record r = record_take(k->p + l->data_from, k->n - l->data_from, l->delimiter, k->final);
        n = record_split(&r, l->delimiter, row, COLUMNS_MAX);
        f = row;
    }
    out[0] = '\0';
    for (size_t i = 0; i < n && i < COLUMNS_MAX && at + 40 < cap; i++)
        at += (size_t)snprintf(out + at, cap - at, "%s%zu: %.*s", i ? ", " : "", i + 1,
                               (int)(f[i].n < 28 ? f[i].n : 28), f[i].p);
    for (char *c = out; *c; c++)
        if ((unsigned char)*c < ' ')
            *c = '?';
}

/* A column by its heading, else by its number from 1; -1: there is none; -2: two have this heading. */
static int column_of(const struct layout *l, const char *text, size_t n)
{
    int found = -1;
    for (size_t i = 0; i < l->named; i++)
        if (l->name[i].n > 0 && heading_same(text, n, l->name[i].p, l->name[i].n))
            found = found == -1 ? (int)i : -2;
    if (found != -1)
        return found;
    uint64_t number;
    if (n > 0 && n < 4 && decimal_scan_u64(text, text + n, &number) == text + n && number >= 1 &&
        number <= l->columns && number <= COLUMNS_MAX)
        return (int)number - 1;
    return -1;
}

static int *place_of(struct mapping *m, enum use use)
{
    if (use == USE_TIME)
        return &m->time;
    return &m->of[use == USE_FLOW_IN ? (enum use)CH_FLOW : use].column;
}

/* Length of one `name=column` at p: up to a comma that another `name=` follows, so that headings may hold commas. */
static size_t entry_length(const char *p)
{
    for (const char *c = strchr(p, ','); c; c = strchr(c + 1, ',')) {
        size_t n = strcspn(c + 1, "=,");
        if (c[1 + n] == '=')
            return (size_t)(c - p);
    }
    return strlen(p);
}

static int take_entry(struct mapping *m, const struct mapping_from *from, bool given[USE_NONE], const char *p, size_t n,
                      struct err *e)
{
    static const char mend[] = "e.g. --columns time=t_s,pressure=2,flow=flow_lps; also flow_in and flow_out, volume, pes, "
                               "co2, spo2, fio2, phase";
    const struct layout *l = from->layout;
    const char *file = from->peek->file, *eq = memchr(p, '=', n);
    int shown = (int)(n < 60 ? n : 60);
    if (!eq)
        return err_set(e, TM_ERR_USAGE, NULL, 0, mend, "--columns: '%.*s' is not name=column", shown, p);
    enum use use = use_find(p, (size_t)(eq - p));
    size_t len = n - (size_t)(eq + 1 - p);
    if (use == USE_NONE)
        return err_set(e, TM_ERR_USAGE, NULL, 0, mend, "--columns: '%.*s' names no signal", shown, p);
    int column = column_of(l, eq + 1, len);
    char have[200];
    list_columns(from, have, sizeof have);
    if (column < 0)
        return err_set(e, TM_ERR_INPUT, file, l->header_line, have, "%s column '%.*s'; the columns are",
                       column == -2 ? "there is more than one" : "there is no", (int)(len < 60 ? len : 60), eq + 1);
    if (*place_of(m, use) >= 0)
        return err_set(e, TM_ERR_USAGE, NULL, 0, mend, "--columns gives %s twice", use_name(use));
    *place_of(m, use) = column;
    given[use] = true;
    return TM_OK;
}

static int by_option(struct mapping *m, const struct mapping_from *from, bool given[USE_NONE], struct err *e)
{
    for (const char *p = from->opts->columns; *p;) {
        size_t n = entry_length(p);
        int rc = take_entry(m, from, given, p, n, e);
        if (rc != TM_OK)
            return rc;
        p += n;
        p += *p == ',';
    }
    return TM_OK;
}

static bool taken(const struct mapping *m, int column)
{
    bool found = m->time == column;
    for (size_t s = 0; s < SLOTS; s++)
        found = found || m->of[s].column == column;
    return found;
}

/* What --columns did not give is looked for among the headings. */
static int by_headings(struct mapping *m, const struct mapping_from *from, bool given[USE_NONE], struct err *e)
{
    const struct layout *l = from->layout;
    bool one_flow = given[CH_FLOW], two_flows = given[USE_FLOW_IN] || given[USE_FLOW_OUT];
    for (size_t i = 0; i < l->named; i++) {
        struct heading h = heading_read(l->name[i].p, l->name[i].n);
        if (h.use == USE_NONE || given[h.use] || taken(m, (int)i))
            continue;
        bool part = h.use == USE_FLOW_IN || h.use == USE_FLOW_OUT;
        if ((part && one_flow) || (h.use == (enum use)CH_FLOW && two_flows))
            continue;
        int *place = place_of(m, h.use);
        char a[COLUMN_TEXT], b[COLUMN_TEXT];
        if (*place >= 0)
            return err_set(e, TM_ERR_INPUT, from->peek->file, l->header_line, "say which: --columns NAME=NUMBER",
                           "%s and %s could both be the %s", mapping_column(l, *place, a),
                           mapping_column(l, (int)i, b), use_name(h.use));
        *place = (int)i;
        given[USE_FLOW_IN] = given[USE_FLOW_IN] || h.use == USE_FLOW_IN;
    }
    return TM_OK;
}

/* A header of another length than the rows names columns that may be others. */
static bool header_fits(const struct layout *l)
{
    if (!l->has_header || l->named == l->columns || (l->named + 1 == l->columns && l->last_empty))
        return true;
    return l->named == l->columns + 1 && l->name[l->named - 1].n == 0;
}

static int names_and_rows_differ(const struct mapping_from *from, struct err *e)
{
    const struct layout *l = from->layout;
    return err_set(e, TM_ERR_INPUT, from->peek->file, l->header_line,
                   "say which is which by number: --columns time=1,pressure=2,flow=3",
                   "the header has %zu names but the rows have %zu fields", l->named, l->columns);
}

/* A heading behind the last field of the rows has no column. */
static bool within_rows(const struct mapping *m, const struct layout *l)
{
    bool within = m->time < (int)l->columns;
    for (size_t s = 0; s < SLOTS; s++)
        within = within && m->of[s].column < (int)l->columns;
    return within;
}

static int check(const struct mapping *m, const struct mapping_from *from, bool flow_in, struct err *e)
{
    const struct layout *l = from->layout;
    const char *file = from->peek->file;
    char have[180];
    list_columns(from, have, sizeof have);
    bool need[2] = {m->of[CH_PAW].column < 0, m->of[CH_FLOW].column < 0};
    if (!l->has_header && (need[0] || need[1]))
        return err_set(e, TM_ERR_INPUT, file, l->lines + 1,
                       "say which is which: --columns time=1,pressure=2,flow=3 --time-unit s --pressure-unit cmH2O "
                       "--flow-unit L/s",
                       "no header names the columns; the first row is %s", have);
    if (need[0] || need[1])
        return err_set(e, TM_ERR_INPUT, file, l->header_line,
                       need[0] ? "name it: --columns pressure=NAME or NUMBER" : "name it: --columns flow=NAME or NUMBER",
                       "no column of %s is recognised among %s", need[0] ? "pressure" : "flow", have);
    if (flow_in != (m->of[USE_FLOW_OUT].column >= 0))
        return err_set(e, TM_ERR_INPUT, file, l->header_line,
                       "--columns flow_in=...,flow_out=... for two columns, flow=... for one",
                       "of inspired and expired flow only one has a column");
    for (size_t a = 0; a < SLOTS; a++)
        for (size_t b = 0; b < a + 1; b++)
            if (m->of[a].column >= 0 && m->of[a].column == (b == a ? m->time : m->of[b].column))
                return err_set(e, TM_ERR_USAGE, NULL, 0, "give each signal a column of its own",
                               "--columns: column %d is given twice", m->of[a].column + 1);
    return TM_OK;
}

static int invert(struct mapping *m, const char *list, struct err *e)
{
    for (const char *p = list ? list : ""; *p;) {
        size_t n = strcspn(p, ",");
        enum use use = use_find(p, n);
        if (use != (enum use)CH_FLOW && use != (enum use)CH_PAW)
            return err_set(e, TM_ERR_USAGE, NULL, 0, "flow, pressure or flow,pressure",
                           "--invert: '%.40s' can't be inverted", p);
        m->of[use].sign = -1;
        if (use == (enum use)CH_FLOW)
            m->of[USE_FLOW_OUT].sign = -1;
        p += n;
        p += *p == ',';
    }
    return TM_OK;
}

int mapping_find(struct mapping *m, const struct mapping_from *from, struct err *e)
{
    bool given[USE_NONE] = {false};
    const struct layout *l = from->layout;
    memset(m, 0, sizeof *m);
    m->time = -1;
    for (size_t i = 0; i < SLOTS; i++)
        m->of[i] = (struct mapped){.column = -1, .sign = 1, .gas = ""};
    int rc = from->opts->columns ? by_option(m, from, given, e) : TM_OK;
    if (rc == TM_OK && header_fits(l))
        rc = by_headings(m, from, given, e);
    else if (rc == TM_OK && (m->of[CH_PAW].column < 0 || m->of[CH_FLOW].column < 0))
        rc = names_and_rows_differ(from, e);
    if (rc == TM_OK && !within_rows(m, l))
        rc = names_and_rows_differ(from, e);
    if (rc == TM_OK)
        rc = check(m, from, given[USE_FLOW_IN], e);
    if (rc == TM_OK)
        rc = invert(m, from->opts->invert, e);
    if (rc == TM_OK)
        rc = mapping_time(m, from, e);
    if (rc == TM_OK)
        rc = mapping_units(m, from, e);
    return rc;
}
