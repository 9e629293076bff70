#include "analyze/tables/csv.h"
#include "analyze/tables/number.h"
#include "analyze/tables/wallclock.h"

#include <math.h>
#include <string.h>

int csv_header(struct cells *c, const struct table *t)
{
    for (int i = 0; i < t->n_fields; i++)
        cells_text(c, t->fields[i].name);
    return cells_end_row(c);
}

/* A list of words in a fixed buffer; what does not fit is dropped whole. */
struct list {
    char *buf;
    size_t n;
};

static void list_add(struct list *l, const char *separator, const char *word)
{
    const size_t a = strlen(separator), b = strlen(word);
    if (l->n + a + b + 1 > CSV_TEXT_MAX)
        return;
    memcpy(l->buf + l->n, separator, a);
    memcpy(l->buf + l->n + a, word, b + 1);
    l->n += a + b;
}

static const char *quality_text(const struct breath_row *r, char *buf)
{
    if (r->quality == 0)
        return "good";
    struct list l = {buf, 0};
    buf[0] = '\0';
    for (int q = 1; q < WHY_N && q < 64; q++)
        if (r->quality >> q & 1u)
            list_add(&l, l.n ? ";" : "", reason_name((enum reason)q));
    return buf;
}

static const char *unjudged_text(char *buf)
{
    struct list l = {buf, 0};
    buf[0] = '\0';
    for (int p = 0; p < PATTERN_N; p++) {
        if (pattern_info((enum pattern_id)p)->built)
            continue;
        list_add(&l, l.n ? "," : "not_built:", pattern_name((enum pattern_id)p));
    }
    return buf;
}

const char *csv_text(const struct breath_row *r, enum col c, char buf[CSV_TEXT_MAX])
{
    switch (c) {
    case COL_kind:
        return kind_name(r->kind);
    case COL_initiation:
        return initiation_name(r->initiation);
    case COL_control:
        return control_name(r->control);
    case COL_quality:
        return quality_text(r, buf);
    case COL_unjudged:
        return unjudged_text(buf);
    default:
        return "";
    }
}

/* Columns whose value does not stand in v[]: their emptiness is known without it. */
static bool never_empty(enum col c)
{
    return c == COL_breath || c == COL_start_s || c == COL_kind || c == COL_initiation || c == COL_control ||
           c == COL_unjudged || c == COL_quality || c == COL_why_empty;
}

enum reason csv_why(const struct csv_context *x, const struct breath_row *r, enum col c)
{
    if (!column_field(c)->built)
        return WHY_not_built;
    if (c == COL_start_time)
        return x->info->start_known ? WHY_NONE : WHY_no_mark;
    int64_t scaled;
    if (never_empty(c) || number_scaled(r->v[c], column_field(c)->decimals, &scaled))
        return WHY_NONE;
    const enum reason why = (enum reason)r->why[c];
    return why == WHY_no_height && c == COL_vt_ml_kg ? x->no_pbw : why;
}

/* code:column,column;code:... with codes in the order of their table, columns in the order of the file. */
static void put_why(struct cells *c, const uint8_t why[COL_N])
{
    uint64_t seen = 0;
    for (int i = 0; i < COL_N; i++)
        seen |= UINT64_C(1) << why[i];
    char buf[CSV_TEXT_MAX];
    struct list l = {buf, 0};
    buf[0] = '\0';
    for (int q = 1; q < WHY_N; q++) {
        if (!(seen >> q & 1u))
            continue;
        list_add(&l, l.n ? ";" : "", reason_name((enum reason)q));
        const char *separator = ":";
        for (int i = 0; i < COL_N; i++) {
            if (why[i] != q)
                continue;
            list_add(&l, separator, column_field((enum col)i)->name);
            separator = ",";
        }
    }
    cells_text(c, buf);
}

static void put_column(struct cells *c, const struct csv_context *x, const struct breath_row *r, enum col i,
                       const char *unjudged)
{
    const struct field *f = column_field(i);
    char buf[CSV_TEXT_MAX];
    if (i == COL_breath) {
        cells_integer(c, (int64_t)r->number);
    } else if (i == COL_start_s) {
        cells_seconds(c, r->t0_ns);
    } else if (i == COL_start_time) {
        char t[WALLCLOCK_MAX];
        cells_bytes(c, t, wallclock_put(t, x->info, r->t0_ns));
    } else if (!f->built) {
        cells_empty(c);
    } else if (i == COL_unjudged) {
        cells_text(c, unjudged);
    } else if (f->type == TYPE_TEXT) {
        cells_text(c, csv_text(r, i, buf));
    } else {
        cells_number(c, r->v[i], f->decimals);
    }
}

int csv_breath(struct cells *c, const struct csv_context *x, const struct breath_row *r)
{
    uint8_t why[COL_N];
    char unjudged[CSV_TEXT_MAX];
    (void)unjudged_text(unjudged);
    for (int i = 0; i < COL_N; i++)
        why[i] = (uint8_t)csv_why(x, r, (enum col)i);
    for (int i = 0; i < COL_N; i++) {
        if (i == COL_why_empty)
            put_why(c, why);
        else
            put_column(c, x, r, (enum col)i, unjudged);
    }
    return cells_end_row(c);
}

/* Percent-encodes what the log's grammar encodes: space, %, ;, = and control characters. */
static size_t encode(char *out, size_t cap, const char *s)
{
    static const char hex[] = "0123456789ABCDEF";
    size_t n = 0;
    for (; *s && n + 4 < cap; s++) {
        const unsigned char u = (unsigned char)*s;
        if (u > 0x20 && u != 0x7f && u != '%' && u != ';' && u != '=') {
            out[n++] = (char)u;
            continue;
        }
        out[n++] = '%';
        out[n++] = hex[u >> 4];
        out[n++] = hex[u & 15];
    }
    out[n] = '\0';
    return n;
}

static void add_value(struct list *l, const char *key, const char *text)
{
    char enc[256];
    (void)encode(enc, sizeof enc, text);
    list_add(l, l->n ? ";" : "", key);
    list_add(l, "=", enc);
}

int csv_event(struct cells *c, const struct event *e)
{
    char buf[CSV_TEXT_MAX];
    struct list l = {buf, 0};
    buf[0] = '\0';
    for (int i = 0; i < e->n_values && i < EVENT_VALUES_MAX; i++) {
        const struct event_value *v = &e->values[i];
        char number[NUMBER_MAX + 1];
        const char *text = v->text;
        if (isfinite(v->number)) {
            number[number_put(number, v->number, v->decimals)] = '\0';
            text = number[0] ? number : NULL;
        }
        if (text)
            add_value(&l, v->key, text);
    }
    if (e->note[0])
        add_value(&l, "reason", e->note);
    cells_seconds(c, e->start_ns);
    cells_seconds(c, e->end_ns);
    cells_text(c, event_name(e->id));
    cells_text(c, confidence_name(e->confidence));
    cells_text(c, buf);
    return cells_end_row(c);
}
