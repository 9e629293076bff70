#include "analyze/program/summary.h"
#include "analyze/program/summary_burden.h"
#include "analyze/program/summary_targets.h"
#include "analyze/program/version.h"
#include "analyze/tables/dictionary.h"
#include "analyze/tables/median.h"
#include "ingest/units.h"

#include <math.h>
#include <string.h>

/* As in dictionary.c: *_new takes over its argument also when it fails; what was lost shows in the one check at the end. */
static int set(json_t *o, const char *key, json_t *value)
{
    return json_object_set_new(o, key, value);
}

/* JSON is UTF-8. A text that is not (a file name can hold any bytes) keeps its ASCII. */
static json_t *text(const char *s)
{
    json_t *j = json_string(s);
    if (j)
        return j;
    char ascii[1024];
    size_t n = 0;
    for (; s[n] && n + 1 < sizeof ascii; n++)
        ascii[n] = (unsigned char)s[n] < 0x80 ? s[n] : '?';
    ascii[n] = '\0';
    return json_string(ascii);
}

static json_t *text_or_null(const char *s)
{
    return s && s[0] ? text(s) : json_null();
}

static json_t *number_or_null(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

/* Nanoseconds as seconds with the three decimals of the tables. */
static json_t *seconds(int64_t ns)
{
    const int64_t ms = ns >= 0 ? (ns + 500000) / 1000000 : -((500000 - ns) / 1000000);
    return json_real((double)ms / 1000.0);
}

static json_t *count(uint64_t n)
{
    return json_integer((json_int_t)n);
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return strcmp(path, "-") == 0 ? "standard input" : slash ? slash + 1 : path;
}

static json_t *option_value(const struct opt *o, const char *value)
{
    if (!o->arg)
        return json_true();
    return text(strcmp(o->name, "marks") == 0 || strcmp(o->name, "settings") == 0 ? base_name(value) : value);
}

/* As given, but for what says where outputs go or how they are shown. */
static json_t *options(const struct args *a)
{
    static const char *const left_out[] = {"output", "force", "glance", "json", "breath"};
    json_t *o = json_object();
    for (int i = 0; a->cmd->opts && a->cmd->opts[i].name; i++) {
        const struct opt *opt = &a->cmd->opts[i];
        bool skip = a->value[i] == NULL;
        for (size_t k = 0; k < sizeof left_out / sizeof left_out[0]; k++)
            skip = skip || strcmp(left_out[k], opt->name) == 0;
        if (!skip)
            (void)set(o, opt->name, option_value(opt, a->value[i]));
    }
    return o;
}

static json_t *channels(const struct recording_info *info)
{
    json_t *a = json_array();
    for (int c = 0; c < CH_N; c++) {
        const struct channel_info *i = &info->channel[c];
        if (i->present)
            (void)json_array_append_new(
                a, json_pack("{s:s,s:s,s:o}", "name", channel_name((enum channel)c), "unit", i->unit, "gas", text_or_null(i->gas)));
    }
    return a;
}

static json_t *recording(const struct night *n)
{
    const struct recording_info *info = n->info;
    static const char *const clocks[] = {"source", "host", "rate only"};
    json_t *o = json_object();
    (void)set(o, "start", text_or_null(info->start_known ? info->start : ""));
    (void)set(o, "channels", channels(info));
    (void)set(o, "rate_hz", info->rate_den > 0 ? json_real((double)info->rate_num / (double)info->rate_den) : json_null());
    (void)set(o, "regular", json_boolean(info->regular));
    (void)set(o, "clock", json_string(clocks[(int)info->clock >= 0 && info->clock <= CLOCK_RATE_ONLY ? info->clock : 0]));
    (void)set(o, "flow_uncalibrated", json_boolean(info->flow_uncalibrated));
    (void)set(o, "btps_factor", n->btps_factor == 1 && !n->o->btps ? json_null() : json_real(n->btps_factor));
    (void)set(o, "first_source_s", seconds(info->first_source_ns));
    (void)set(o, "airway", text_or_null(info->airway));
    (void)set(o, "tube_mm", number_or_null(info->tube_mm));
    (void)set(o, "site", text_or_null(info->site));
    (void)set(o, "circuit_c_ml_cmh2o", number_or_null(info->circuit_c_ml_cmh2o));
    (void)set(o, "session", text_or_null(info->session));
    (void)set(o, "part", info->part > 0 ? json_integer(info->part) : json_null());
    return o;
}

static json_t *subject(const struct night *n)
{
    static const char *const sizes[] = {"unknown", "adult", "child", "infant"};
    const struct recording_info *info = n->info;
    const char sex = n->o->sex ? n->o->sex : info->sex;
    const char word[2] = {sex, '\0'};
    const double height = isfinite(n->o->height_cm) ? n->o->height_cm : info->height_cm;
    const enum patient_size size = n->totals.patient;
    json_t *o = json_object();
    (void)set(o, "code", text_or_null(info->subject_code));
    (void)set(o, "sex", text_or_null(word));
    (void)set(o, "height_cm", number_or_null(height));
    (void)set(o, "age_band", text_or_null(info->age_band));
    (void)set(o, "size", json_string(sizes[(int)size >= 0 && size <= PATIENT_INFANT ? size : 0]));
    (void)set(o, "size_inferred", json_boolean(n->totals.patient_inferred));
    (void)set(o, "size_note", n->totals.patient_inferred && size == PATIENT_INFANT
                                  ? json_string(reason_name(WHY_assumed_infant))
                                  : json_null());
    (void)set(o, "pbw_kg", number_or_null(n->pbw.kg));
    (void)set(o, "pbw_note", text_or_null(reason_name(n->pbw.why)));
    return o;
}

static json_t *span(const struct night *n)
{
    const struct engine_totals *t = &n->totals;
    json_t *o = json_object();
    (void)set(o, "n", count(t->samples));
    (void)set(o, "last_s", t->last_ns >= 0 ? seconds(t->last_ns) : json_null());
    (void)set(o, "observed_s", seconds(t->observed_ns));
    (void)set(o, "missing", count(t->missing_samples));
    (void)set(o, "holes_short", count(t->holes_short));
    (void)set(o, "holes_long", count(t->holes_long));
    (void)set(o, "hole_s", seconds(t->hole_ns));
    (void)set(o, "marks", count(n->marks));
    return o;
}

static json_t *breaths(const struct tally *t)
{
    json_t *o = json_object(), *kind = json_object(), *initiation = json_object(), *control = json_object();
    json_t *quality = json_object();
    for (int q = 1; q < WHY_N; q++)
        if (t->quality[q])
            (void)set(quality, reason_name((enum reason)q), count(t->quality[q]));
    for (int k = 0; k < KIND_MANUAL; k++) /* manual ones are not told from others yet */
        (void)set(kind, kind_name((enum breath_kind)k), count(t->kind[k]));
    for (int k = 0; k <= INIT_MACHINE; k++)
        (void)set(initiation, initiation_name((enum breath_initiation)k), count(t->initiation[k]));
    for (int k = 0; k <= CONTROL_NONE; k++)
        (void)set(control, control_name((enum breath_control)k), count(t->control[k]));
    (void)set(o, "n", count(t->breaths));
    (void)set(o, "complete", count(t->complete));
    (void)set(o, "usable", count(t->usable));
    (void)set(o, "usable_s", seconds(t->usable_ns));
    (void)set(o, "kind", kind);
    (void)set(o, "initiation", initiation);
    (void)set(o, "control", control);
    (void)set(o, "quality", quality);
    return o;
}

static json_t *medians(const struct tally *t)
{
    json_t *o = json_object();
    for (int c = 0; c < COL_N; c++) {
        const struct median *m = t->median[c];
        if (m)
            (void)set(o, column_field((enum col)c)->name,
                      json_pack("{s:o,s:o,s:o,s:o,s:o,s:s}", "median", number_or_null(median_of(m, 0.5)), "p5",
                                number_or_null(median_of(m, 0.05)), "p95", number_or_null(median_of(m, 0.95)), "n",
                                count(median_n(m)), "of", count(t->usable), "unit", column_field((enum col)c)->unit));
    }
    return o;
}

static json_t *events(const struct tally *t)
{
    json_t *o = json_object();
    for (int e = 0; e < EVENT_N; e++) {
        const struct tally_events *x = &t->event[e];
        if (x->n == 0)
            continue;
        json_t *first = json_array();
        for (uint64_t i = 0; i < x->n && i < TALLY_EVENT_TIMES; i++)
            (void)json_array_append_new(first, seconds(x->start_ns[i]));
        (void)set(o, event_name((enum event_id)e),
                  json_pack("{s:o,s:o,s:o,s:o}", "n", count(x->n), "definite", count(x->definite), "total_s",
                            seconds(x->total_ns), "first_s", first));
    }
    return o;
}

/* Of each built pattern: how many breaths have it, of how many it could be judged in, and by which parameters. */
static json_t *patterns(const struct night *n)
{
    const struct tally *t = &n->tally;
    json_t *o = json_object();
    for (int p = 0; p < PATTERN_N; p++) {
        const struct pattern *d = pattern_of((enum pattern_id)p);
        if (!d)
            continue;
        json_t *params = json_object();
        for (int i = 0; d->params[i].name; i++)
            (void)set(params, d->params[i].name, json_real(n->o->patterns.v[p][i]));
        (void)set(o, pattern_name((enum pattern_id)p),
                  json_pack("{s:o,s:o,s:o,s:o}", "definite", count(t->definite[p]), "possible", count(t->possible[p]), "judged",
                            count(t->judged[p]), "parameters", params));
    }
    return o;
}

static json_t *notices(const struct notices *n)
{
    static const char *const levels[] = {"note", "wrong", "fatal"};
    json_t *a = json_array();
    for (size_t i = 0; i < notices_count(n); i++) {
        const struct notice_count *c = notices_get(n, i);
        (void)json_array_append_new(
            a, json_pack("{s:s,s:s,s:o,s:o,s:o}", "code", c->code, "level", levels[c->level], "count", count(c->count),
                         "first_line", c->first_line ? count(c->first_line) : json_null(), "first", text(c->first_what)));
    }
    return a;
}

static json_t *not_built(void)
{
    json_t *columns = json_array(), *patterns = json_array(), *events_ = json_array(), *tables = json_array();
    for (int c = 0; c < COL_N; c++)
        if (!column_field((enum col)c)->built)
            (void)json_array_append_new(columns, json_string(column_field((enum col)c)->name));
    for (int p = 0; p < PATTERN_N; p++)
        if (!pattern_info((enum pattern_id)p)->built)
            (void)json_array_append_new(patterns, json_string(pattern_info((enum pattern_id)p)->name));
    for (int e = 0; e < EVENT_N; e++)
        if (!event_info((enum event_id)e)->built)
            (void)json_array_append_new(events_, json_string(event_info((enum event_id)e)->name));
    for (int t = 0; t < TABLE_N; t++)
        if (!table_get((enum table_id)t)->built)
            (void)json_array_append_new(tables, json_string(table_get((enum table_id)t)->file));
    return json_pack("{s:o,s:o,s:o,s:o}", "columns", columns, "patterns", patterns, "events", events_, "tables", tables);
}

static json_t *file_list(const struct summary_file *files, size_t n_files)
{
    json_t *a = json_array();
    for (size_t i = 0; i < n_files; i++)
        (void)json_array_append_new(a, json_pack("{s:s,s:s,s:o,s:o}", "name", files[i].name, "sha256", files[i].sha256,
                                                 "bytes", count(files[i].bytes), "rows", count(files[i].rows)));
    return a;
}

json_t *summary_json(const struct night *n, const struct summary_file *files, size_t n_files)
{
    json_t *o = json_object();
    if (!o)
        return NULL;
    int bad = set(o, "program", json_string("tidemark"));
    bad |= set(o, "version", json_string(program_version()));
    bad |= set(o, "input", json_pack("{s:o,s:s,s:s,s:b}", "name", text(base_name(n->o->path)), "format", n->format, "sha256",
                                     n->sha256, "closed_well", n->closed_well));
    bad |= set(o, "options", options(n->o->args));
    bad |= set(o, "window_s", json_pack("[o,o]", n->from_ns == INT64_MIN ? json_null() : seconds(n->from_ns),
                                        n->to_ns == INT64_MAX ? json_null() : seconds(n->to_ns)));
    bad |= set(o, "recording", recording(n));
    bad |= set(o, "subject", subject(n));
    bad |= set(o, "samples", span(n));
    bad |= set(o, "breaths", breaths(&n->tally));
    bad |= set(o, "medians", medians(&n->tally));
    bad |= set(o, "events", events(&n->tally));
    bad |= set(o, "patterns", patterns(n));
    bad |= set(o, "targets", summary_targets(&n->tally));
    bad |= set(o, "autopeep_burden", summary_autopeep(&n->tally));
    bad |= set(o, "burden", summary_burden(&n->tally));
    bad |= set(o, "notices", notices(n->notices));
    bad |= set(o, "not_built", not_built());
    bad |= json_add_wording(o);
    bad |= set(o, "files", file_list(files, n_files));
    if (bad) {
        json_decref(o);
        return NULL;
    }
    return o;
}
