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

/* ",name" of each entry of a table that this version does not compute: constants, for every row repeats them. */
#define UNBUILT_0(id) "," #id
#define UNBUILT_1(id) ""
static const char unbuilt_columns[] = ""
#define COLUMN(id, type, unit, decimals, built, title, meaning, validity, source) UNBUILT_##built(id)
#include "analyze/tables/columns.def"
#undef COLUMN
    ;
static const char unbuilt_patterns[] = ""
#define PATTERN(id, built, title, meaning, source) UNBUILT_##built(id)
#include "analyze/tables/patterns.def"
#undef PATTERN
    ;
_Static_assert(sizeof unbuilt_columns < CSV_TEXT_MAX / 2 && sizeof unbuilt_patterns < CSV_TEXT_MAX / 2,
               "reasons of single cells need room beside these");

/* "not_built:" and the list; nothing for an empty list. */
static void list_unbuilt(struct list *l, const char *separator, const char *names)
{
    if (!names[0])
        return;
    list_add(l, separator, "not_built:");
    list_add(l, "", names + 1);
}

static const char *flags_text(const struct breath_row *r, char *buf)
{
    struct list l = {buf, 0};
    buf[0] = '\0';
    for (int p = 0; p < PATTERN_N; p++)
        if (r->pattern[p] != CONF_NONE)
            list_add(&l, l.n ? ";" : "", pattern_name((enum pattern_id)p));
    return buf;
}

/* code:pattern,pattern;code:... in the order of the codes. */
static const char *unjudged_text(const struct breath_row *r, char *buf)
{
    struct list l = {buf, 0};
    uint64_t seen = UINT64_C(1) << WHY_not_built;
    buf[0] = '\0';
    for (int p = 0; p < PATTERN_N; p++)
        seen |= UINT64_C(1) << r->unjudged[p];
    for (int q = 1; q < WHY_N && seen >> q; q++) {
        if (!(seen >> q & 1u))
            continue;
        if (q == WHY_not_built) {
            list_unbuilt(&l, l.n ? ";" : "", unbuilt_patterns);
            continue;
        }
        list_add(&l, l.n ? ";" : "", reason_name((enum reason)q));
        const char *separator = ":";
        for (int p = 0; p < PATTERN_N; p++) {
            if (r->unjudged[p] != q)
                continue;
            list_add(&l, separator, pattern_name((enum pattern_id)p));
            separator = ",";
        }
    }
    return buf;
}

/* none, possible, present: 0, 1, 2. */
static const char *effort_name(double v)
{
    return isnan(v) ? "" : v < 0.5 ? "none" : v < 1.5 ? "possible" : "present";
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
    case COL_effort:
        return effort_name(r->v[COL_effort]);
    case COL_pplat_basis:
        return pplat_basis_name(r->pplat_basis);
    case COL_cstat_basis:
        return cstat_basis_name(r->cstat_basis);
    case COL_autopeep_basis:
        return autopeep_basis_name(r->autopeep_basis);
    case COL_p01_basis:
        return p01_basis_name(r->p01_basis);
    case COL_quality:
        return quality_text(r, buf);
    case COL_unjudged:
        return unjudged_text(r, buf);
    case COL_flags:
        return flags_text(r, buf);
    default:
        return "";
    }
}

/* Columns whose value does not stand in v[]: their emptiness is known without it. */
static bool never_empty(enum col c)
{
    return c == COL_breath || c == COL_start_s || c == COL_kind || c == COL_initiation || c == COL_control ||
           c == COL_flags || c == COL_unjudged || c == COL_quality || c == COL_why_empty;
}

/* As csv_why; of a number also what its cell shows. */
struct shown {
    bool number;
    int64_t scaled;
};

static enum reason why_of(const struct csv_context *x, const struct breath_row *r, enum col c, const struct field *f,
                          struct shown *shown)
{
    shown->number = false;
    if (!f->built)
        return WHY_not_built;
    if (c == COL_start_time)
        return x->info->start_known ? WHY_NONE : WHY_no_mark;
    if (never_empty(c))
        return WHY_NONE;
    if ((c == COL_pplat_basis && r->pplat_basis != PPLAT_NONE) || (c == COL_cstat_basis && r->cstat_basis != CSTAT_NONE) ||
        (c == COL_autopeep_basis && r->autopeep_basis != AUTOPEEP_NONE) || (c == COL_p01_basis && r->p01_basis != P01_NONE))
        return WHY_NONE;
    shown->number = number_scaled(r->v[c], f->decimals, &shown->scaled);
    if (shown->number)
        return WHY_NONE;
    const enum reason why = (enum reason)r->why[c];
    return why == WHY_no_height && c == COL_vt_ml_kg ? x->no_pbw : why;
}

enum reason csv_why(const struct csv_context *x, const struct breath_row *r, enum col c)
{
    struct shown shown;
    return why_of(x, r, c, column_field(c), &shown);
}

/* code:column,column;code:... with codes in the order of their table, columns in the order of the file. */
static void put_why(struct cells *c, const uint8_t why[COL_N], const struct field *fields)
{
    uint64_t seen = 0;
    bool all_built = true; /* the columns that lack because of not_built are those of unbuilt_columns */
    for (int i = 0; i < COL_N; i++) {
        seen |= UINT64_C(1) << why[i];
        all_built = all_built && (why[i] == WHY_not_built) == !fields[i].built;
    }
    char buf[CSV_TEXT_MAX];
    struct list l = {buf, 0};
    buf[0] = '\0';
    for (int q = 1; q < WHY_N; q++) {
        if (!(seen >> q & 1u))
            continue;
        if (q == WHY_not_built && all_built) {
            list_unbuilt(&l, l.n ? ";" : "", unbuilt_columns);
            continue;
        }
        list_add(&l, l.n ? ";" : "", reason_name((enum reason)q));
        const char *separator = ":";
        for (int i = 0; i < COL_N; i++) {
            if (why[i] != q)
                continue;
            list_add(&l, separator, fields[i].name);
            separator = ",";
        }
    }
    cells_text(c, buf);
}

static void put_column(struct cells *c, const struct csv_context *x, const struct breath_row *r, enum col i,
                       const struct field *f, const struct shown *shown)
{
    char buf[CSV_TEXT_MAX];
    if (i == COL_breath) {
        cells_integer(c, (int64_t)r->number);
    } else if (i == COL_start_s) {
        cells_seconds(c, r->t0_ns);
    } else if (i == COL_start_time) {
        char t[WALLCLOCK_MAX];
        cells_bytes(c, t, wallclock_put(t, x->info, r->t0_ns));
    } else if (f->built && f->type == TYPE_TEXT) {
        cells_text(c, csv_text(r, i, buf));
    } else if (shown->number) {
        cells_scaled(c, shown->scaled, f->decimals);
    } else {
        cells_empty(c);
    }
}

int csv_breath(struct cells *c, const struct csv_context *x, const struct breath_row *r)
{
    const struct field *fields = table_get(TABLE_BREATHS)->fields;
    uint8_t why[COL_N];
    struct shown shown[COL_N];
    for (int i = 0; i < COL_N; i++)
        why[i] = (uint8_t)why_of(x, r, (enum col)i, &fields[i], &shown[i]);
    for (int i = 0; i < COL_N; i++) {
        if (i == COL_why_empty)
            put_why(c, why, fields);
        else
            put_column(c, x, r, (enum col)i, &fields[i], &shown[i]);
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

/* name=value;... */
static void add_values(struct list *l, const struct event_value *values, int n)
{
    for (int i = 0; i < n; i++) {
        const struct event_value *v = &values[i];
        char number[NUMBER_MAX + 1];
        const char *text = v->text;
        if (isfinite(v->number)) {
            number[number_put(number, v->number, v->decimals)] = '\0';
            text = number[0] ? number : NULL;
        }
        if (text)
            add_value(l, v->key, text);
    }
}

int csv_event(struct cells *c, const struct event *e)
{
    char buf[CSV_TEXT_MAX];
    struct list l = {buf, 0};
    buf[0] = '\0';
    add_values(&l, e->values, e->n_values < EVENT_VALUES_MAX ? e->n_values : EVENT_VALUES_MAX);
    if (e->note[0])
        add_value(&l, "reason", e->note);
    cells_seconds(c, e->start_ns);
    cells_seconds(c, e->end_ns);
    cells_text(c, event_name(e->id));
    cells_text(c, confidence_name(e->confidence));
    cells_text(c, buf);
    return cells_end_row(c);
}

int csv_flag(struct cells *c, const struct flag *f)
{
    char buf[CSV_TEXT_MAX];
    struct list l = {buf, 0};
    buf[0] = '\0';
    add_values(&l, f->what.evidence, f->what.n);
    if (f->breath > 0)
        cells_integer(c, (int64_t)f->breath);
    else
        cells_empty(c);
    cells_seconds(c, f->what.at_ns);
    cells_text(c, pattern_name(f->pattern));
    cells_text(c, confidence_name(f->what.confidence));
    cells_text(c, buf);
    return cells_end_row(c);
}
