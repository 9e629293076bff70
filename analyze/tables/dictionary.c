#include "analyze/tables/dictionary.h"

#include "analyze/patterns/alike.h"
#include "analyze/tables/table.h"
#include "analyze/tables/wording.h"

#include <string.h>

/* jansson's *_new functions take over their argument also when they fail, so that one check at the end is enough: an
 * object that lacks a key is never written. */
static int set(json_t *o, const char *key, json_t *value)
{
    return json_object_set_new(o, key, value);
}

static int set_text(json_t *o, const char *key, const char *s)
{
    return s[0] ? set(o, key, json_string(s)) : 0;
}

static json_t *enumeration(const char *const *words)
{
    json_t *a = json_array();
    for (; *words; words++)
        (void)json_array_append_new(a, json_string(*words));
    return json_pack("{s:o}", "enum", a);
}

/* What the standard can check of a field by itself; NULL: nothing. */
static json_t *constraints(enum table_id t, const struct field *f)
{
    static const char *const kinds[] = {"mandatory", "assisted", "supported", "unassisted", "manual", "unknown", NULL};
    static const char *const starts[] = {"patient", "machine", "unknown", NULL};
    static const char *const controls[] = {"volume", "pressure", "none", "unknown", NULL};
    static const char *const confidences[] = {"definite", "possible", NULL};
    if (t == TABLE_BREATHS && strcmp(f->name, "breath") == 0)
        return json_pack("{s:b,s:b,s:i}", "required", 1, "unique", 1, "minimum", 1);
    if (t == TABLE_HOURS && strcmp(f->name, "hour") == 0)
        return json_pack("{s:b,s:b,s:i}", "required", 1, "unique", 1, "minimum", 0);
    if (strcmp(f->name, "start_s") == 0)
        return json_pack("{s:b,s:i}", "required", 1, "minimum", 0);
    if (strcmp(f->name, "kind") == 0)
        return enumeration(kinds);
    if (strcmp(f->name, "initiation") == 0)
        return enumeration(starts);
    if (strcmp(f->name, "control") == 0)
        return enumeration(controls);
    if (strcmp(f->name, "confidence") == 0)
        return enumeration(confidences);
    if (strcmp(f->name, "fit_r2") == 0)
        return json_pack("{s:i}", "maximum", 1);
    return NULL;
}

static json_t *field_json(enum table_id t, const struct field *f)
{
    static const char *const types[] = {"number", "integer", "string"};
    const char *type = strcmp(f->name, "start_time") == 0 ? "datetime" : types[f->type];
    json_t *o = json_pack("{s:s,s:s,s:s,s:s}", "name", f->name, "type", type, "title", f->title, "description", f->meaning);
    if (!o)
        return NULL;
    /* RFC 3339 with an offset is no default format of the standard's datetime, which wants Z: any lets a reader guess. */
    int bad = strcmp(type, "datetime") == 0 ? set_text(o, "format", "any") : 0;
    bad |= set_text(o, "unit", f->unit);
    bad |= set_text(o, "validity", f->validity);
    bad |= set_text(o, "source", f->source);
    if (f->type == TYPE_NUMBER)
        bad |= set(o, "decimals", json_integer(f->decimals));
    bad |= set(o, "built", json_boolean(f->built));
    json_t *c = constraints(t, f);
    if (c)
        bad |= set(o, "constraints", c);
    if (bad) {
        json_decref(o);
        return NULL;
    }
    return o;
}

static json_t *primary_key(const char *names)
{
    if (!strchr(names, ' '))
        return json_string(names);
    json_t *a = json_array();
    while (*names) {
        const size_t n = strcspn(names, " ");
        (void)json_array_append_new(a, json_stringn(names, n));
        names += n + (names[n] == ' ');
    }
    return a;
}

static json_t *resource(enum table_id id)
{
    const struct table *t = table_get(id);
    json_t *fields = json_array();
    for (int i = 0; i < t->n_fields; i++) {
        json_t *f = field_json(id, &t->fields[i]);
        if (!f || json_array_append_new(fields, f) != 0) {
            json_decref(fields);
            return NULL;
        }
    }
    json_t *schema = json_pack("{s:o,s:[s]}", "fields", fields, "missingValues", "");
    if (schema && t->primary_key[0] && set(schema, "primaryKey", primary_key(t->primary_key)) != 0) {
        json_decref(schema);
        return NULL;
    }
    return json_pack("{s:s#,s:s,s:s,s:s,s:s,s:s,s:s,s:s,s:b,s:o}", "name", t->file, (int)(strlen(t->file) - 4), "path",
                     t->file, "profile", "tabular-data-resource", "title", t->title, "description", t->meaning, "format",
                     "csv", "mediatype", "text/csv", "encoding", "utf-8", "built", t->built, "schema", schema);
}

/* What stands for the codes in the cells. */
static json_t *codes(void)
{
    json_t *o = json_object();
    for (int r = 1; r < WHY_N; r++)
        (void)set(o, reason_name((enum reason)r), json_string(reason_meaning((enum reason)r)));
    return o;
}

json_t *pattern_json(enum pattern_id p)
{
    const struct pattern_info *i = pattern_info(p);
    const struct pattern *d = pattern_of(p);
    json_t *o = json_pack("{s:s,s:s,s:s,s:b}", "title", i->title, "meaning", i->meaning, "source", i->source, "built", i->built);
    if (!d)
        return o;
    json_t *params = json_object(), *evidence = json_object();
    for (const struct pattern_param *q = d->params; q->name; q++)
        (void)set(params, q->name, json_pack("{s:s,s:f,s:f,s:f,s:s,s:s}", "unit", q->unit, "default", q->dflt, "minimum", q->low,
                                             "maximum", q->high, "meaning", q->meaning, "source", q->source));
    for (const struct pattern_evidence *e = d->evidence; e->key; e++)
        (void)set(evidence, e->key, json_pack("{s:s,s:s}", "unit", e->unit, "meaning", e->meaning));
    for (const struct pattern_evidence *e = alike_evidence; e->key; e++)
        (void)set(evidence, e->key, json_pack("{s:s,s:s}", "unit", e->unit, "meaning", e->meaning));
    (void)set(o, "signature", json_string(d->signature));
    (void)set(o, "confidence", json_string(d->confidence));
    (void)set(o, "look_alikes", json_string(d->alike));
    (void)set(o, "parameters", params);
    (void)set(o, "evidence", evidence);
    return o;
}

static json_t *patterns(void)
{
    json_t *o = json_object();
    for (int p = 0; p < PATTERN_N; p++)
        (void)set(o, pattern_info((enum pattern_id)p)->name, pattern_json((enum pattern_id)p));
    return o;
}

static json_t *events(void)
{
    json_t *o = json_object();
    for (int e = 0; e < EVENT_N; e++) {
        const struct event_info *i = event_info((enum event_id)e);
        (void)set(o, i->name,
                  json_pack("{s:s,s:s,s:s,s:s,s:b}", "title", i->title, "meaning", i->meaning, "values", i->values,
                            "source", i->source, "built", i->built));
    }
    return o;
}

int json_add_wording(json_t *o)
{
    json_t *limits = json_array();
    for (size_t i = 0; wording_limit(i); i++) {
        const struct wording_limit *l = wording_limit(i);
        (void)json_array_append_new(
            limits, json_pack("{s:s,s:s,s:s}", "statement", l->statement, "why", l->why, "where", l->where));
    }
    int bad = set(o, "caution", json_string(wording_short()));
    bad |= set(o, "intended_use", json_string(wording_intended_use()));
    bad |= set(o, "limits", limits);
    bad |= set(o, "identifiability", json_string(wording_identifiability()));
    bad |= set(o, "wording_version", json_integer(wording_version()));
    return bad ? -1 : 0;
}

json_t *dictionary_json(void)
{
    json_t *resources = json_array();
    for (int t = 0; t < TABLE_N; t++) {
        json_t *r = resource((enum table_id)t);
        if (!r || json_array_append_new(resources, r) != 0) {
            json_decref(resources);
            return NULL;
        }
    }
    json_t *o = json_pack("{s:s,s:s,s:s,s:s,s:o}", "name", "tidemark-tables", "profile", "tabular-data-package", "title",
                          "Breaths of one recording", "description",
                          "What each column of the tables beside this file means: unit, meaning, when it is empty, source.",
                          "resources", resources);
    if (!o)
        return NULL;
    int bad = set(o, "codes", codes());
    bad |= set(o, "patterns", patterns());
    bad |= set(o, "events", events());
    bad |= json_add_wording(o);
    if (bad) {
        json_decref(o);
        return NULL;
    }
    return o;
}

/* jansson hands on words and brackets one by one: they are collected, for a sink may be a system call. */
struct dump {
    cells_write_fn *write;
    void *user;
    int rc;
    size_t n;
    char buf[8192];
};

static void hand_on(struct dump *d, const char *p, size_t n)
{
    if (d->rc == TM_OK && n > 0)
        d->rc = d->write(d->user, p, n);
}

static int on_bytes(const char *p, size_t n, void *user)
{
    struct dump *d = user;
    if (n > sizeof d->buf - d->n) {
        hand_on(d, d->buf, d->n);
        d->n = 0;
    }
    if (n > sizeof d->buf) {
        hand_on(d, p, n);
    } else {
        memcpy(d->buf + d->n, p, n);
        d->n += n;
    }
    return d->rc == TM_OK ? 0 : -1;
}

int json_write(const json_t *j, cells_write_fn *write, void *user)
{
    struct dump d;
    if (!j)
        return TM_ERR_MEMORY;
    d.write = write;
    d.user = user;
    d.rc = TM_OK;
    d.n = 0;
    if (json_dump_callback(j, on_bytes, &d, JSON_INDENT(2) | JSON_REAL_PRECISION(15)) != 0)
        return d.rc != TM_OK ? d.rc : TM_ERR_MEMORY;
    if (on_bytes("\n", 1, &d) == 0)
        hand_on(&d, d.buf, d.n);
    return d.rc;
}
