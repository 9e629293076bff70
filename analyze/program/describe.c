/* tidemark describe: what a column, pattern, event, reason code or line of the log means. */
#include "analyze/program/describe.h"
#include "analyze/program/help.h"
#include "analyze/program/say.h"
#include "analyze/session/targets.h"
#include "analyze/tables/dictionary.h"

#include <string.h>

static const struct opt opts[] = {
    {"json", 'j', NULL, "", "", "Print JSON: of NAME, or without one the whole dictionary."},
    {"svg", 0, NULL, "", "", "Print the drawing of NAME, an SVG made from simulated samples; docs/patterns.md shows them all."},
    {"docs", 0, "WHAT", "", "", "Print a page made from the tables: metrics, patterns, commands, man, or man:COMMAND."},
    {NULL, 0, NULL, NULL, NULL, NULL},
};

void describe_type(FILE *out, const struct field *f)
{
    static const char *const types[] = {"number", "integer", "text"};
    (void)fputs(types[f->type], out);
    if (f->unit[0])
        (void)fprintf(out, ", %s", strcmp(f->unit, "1") == 0 ? "dimensionless" : f->unit);
    if (f->type == TYPE_NUMBER)
        (void)fprintf(out, ", %d decimal%s", f->decimals, f->decimals == 1 ? "" : "s");
}

static void print_field(const struct table *t, const struct field *f)
{
    (void)printf("%s (column of %s): %s\n  ", f->name, t->file, f->title);
    describe_type(stdout, f);
    (void)puts("");
    if (!describe_explained(stdout, f->name))
        (void)printf("  %s\n  %s\n  Source: %s\n", f->meaning, f->validity, f->source);
    if (!f->built)
        (void)puts("  Not built in this version: the cell is empty.");
}

static json_t *field_object(const struct table *t, const struct field *f)
{
    return json_pack("{s:s,s:s,s:s,s:s,s:s,s:s,s:s,s:b}", "is", "column", "table", t->file, "title", f->title, "unit",
                     f->unit, "meaning", f->meaning, "validity", f->validity, "source", f->source, "built", f->built);
}

/* What is found is printed, or appended to `found` where that is not NULL. Returns how many were found. */
static int describe_fields(const char *name, json_t *found)
{
    int n = 0;
    for (int t = 0; t < TABLE_N; t++) {
        const struct table *table = table_get((enum table_id)t);
        const int i = table_find(table, name);
        if (i < 0)
            continue;
        n++;
        if (found)
            (void)json_array_append_new(found, field_object(table, &table->fields[i]));
        else
            print_field(table, &table->fields[i]);
    }
    return n;
}

static int describe_pattern(const char *name, json_t *found)
{
    for (int p = 0; p < PATTERN_N; p++) {
        const struct pattern_info *i = pattern_info((enum pattern_id)p);
        if (strcmp(i->name, name) != 0)
            continue;
        if (found) {
            json_t *o = pattern_json((enum pattern_id)p);
            (void)json_object_set_new(o, "is", json_string("pattern"));
            (void)json_array_append_new(found, o);
        } else {
            (void)printf("%s (pattern): %s\n  %s\n  Source: %s\n%s", i->name, i->title, i->meaning, i->source,
                         i->built ? "" : "  Not built in this version: not judged.\n");
            describe_pattern_text(stdout, (enum pattern_id)p);
        }
        return 1;
    }
    return 0;
}

static int describe_event(const char *name, json_t *found)
{
    for (int e = 0; e < EVENT_N; e++) {
        const struct event_info *i = event_info((enum event_id)e);
        if (strcmp(i->name, name) != 0)
            continue;
        if (found)
            (void)json_array_append_new(found,
                                        json_pack("{s:s,s:s,s:s,s:s,s:s,s:b}", "is", "event", "title", i->title, "meaning",
                                                  i->meaning, "values", i->values, "source", i->source, "built", i->built));
        else
            (void)printf("%s (event): %s\n  %s\n  Values: %s\n  Source: %s\n%s", i->name, i->title, i->meaning,
                         i->values[0] ? i->values : "none", i->source,
                         i->built ? "" : "  Not built in this version: never written.\n");
        return 1;
    }
    return 0;
}

static int describe_target(const char *name, json_t *found)
{
    for (int t = 0; t < TARGET_N; t++) {
        const struct target_info *i = target_info((enum target_id)t);
        const struct field *f = column_field(i->column);
        if (strcmp(i->name, name) != 0)
            continue;
        if (found)
            (void)json_array_append_new(
                found, json_pack("{s:s,s:s,s:s,s:s,s:f,s:s,s:s,s:s,s:b}", "is", "threshold", "title", i->title, "column", f->name,
                                 "side", i->under ? "under" : "over", "threshold", i->threshold, "unit", f->unit, "meaning",
                                 i->meaning, "source", i->source, "built", f->built));
        else
            (void)printf("%s (threshold): %s\n  %s %s %g %s, as computed, not as printed; among %s breaths.\n  %s\n  A count of "
                         "what was; no advice.\n  Source: %s\n%s",
                         i->name, i->title, f->name, i->under ? "under" : "over", i->threshold, f->unit,
                         i->usable_only ? "usable" : "complete", i->meaning, i->source,
                         f->built ? "" : "  Its column is not built in this version: not judged.\n");
        return 1;
    }
    return 0;
}

static int describe_code(const char *name, json_t *found)
{
    for (int r = 1; r < WHY_N; r++) {
        if (strcmp(reason_name((enum reason)r), name) != 0)
            continue;
        if (found)
            (void)json_array_append_new(
                found, json_pack("{s:s,s:s}", "is", "reason code", "meaning", reason_meaning((enum reason)r)));
        else
            (void)printf("%s (reason code)\n  %s\n", name, reason_meaning((enum reason)r));
        return 1;
    }
    return 0;
}

static int describe_format(const char *name, json_t *found)
{
    const struct format_info *f;
    for (size_t i = 0; (f = format_info(i)); i++) {
        if (strcmp(f->name, name) != 0 && (f->name[0] != '%' || strcmp(f->name + 1, name) != 0))
            continue;
        if (found)
            (void)json_array_append_new(
                found, json_pack("{s:s,s:s,s:s}", "is", "line of a log", "title", f->title, "meaning", f->meaning));
        else
            (void)printf("%s (line of a log): %s\n  %s\n", f->name, f->title, f->meaning);
        return 1;
    }
    return 0;
}

static void list_all(void)
{
    for (int t = 0; t < TABLE_N; t++) {
        const struct table *table = table_get((enum table_id)t);
        (void)printf("%s: %s\n", table->file, table->meaning);
        for (int i = 0; i < table->n_fields; i++)
            (void)printf("  %-34s %s%s\n", table->fields[i].name, table->fields[i].title,
                         table->fields[i].built ? "" : " (not built)");
    }
    (void)puts("Patterns:");
    for (int p = 0; p < PATTERN_N; p++)
        (void)printf("  %-34s %s%s\n", pattern_info((enum pattern_id)p)->name, pattern_info((enum pattern_id)p)->title,
                     pattern_info((enum pattern_id)p)->built ? "" : " (not built)");
    (void)puts("Events:");
    for (int e = 0; e < EVENT_N; e++)
        (void)printf("  %-34s %s%s\n", event_info((enum event_id)e)->name, event_info((enum event_id)e)->title,
                     event_info((enum event_id)e)->built ? "" : " (not built)");
    (void)puts("Thresholds:");
    for (int t = 0; t < TARGET_N; t++)
        (void)printf("  %-34s %s%s\n", target_info((enum target_id)t)->name, target_info((enum target_id)t)->title,
                     target_built((enum target_id)t) ? "" : " (not built)");
    list_burden();
    (void)puts("Reason codes:");
    for (int r = 1; r < WHY_N; r++)
        (void)printf("  %-34s %s\n", reason_name((enum reason)r), reason_meaning((enum reason)r));
    (void)puts("Lines of a log:");
    for (size_t i = 0; format_info(i); i++)
        (void)printf("  %-34s %s\n", format_info(i)->name, format_info(i)->title);
}

static int put_json(json_t *j)
{
    const int rc = json_write(j, say_bytes, NULL);
    json_decref(j);
    return rc == TM_OK ? EXIT_DONE : rc == TM_ERR_SYSTEM ? EXIT_OUTPUT : EXIT_NOTHING;
}

static int describe_one(const struct args *a, const char *name)
{
    json_t *found = args_given(a, "json") ? json_array() : NULL;
    const int n = describe_fields(name, found) + describe_pattern(name, found) + describe_event(name, found) +
                  describe_target(name, found) + describe_burden(name, found) + describe_code(name, found) + describe_format(name, found);
    if (n == 0) {
        json_decref(found);
        return say_usage(a->cmd, "nothing is called '%s'; tidemark describe lists all names", name);
    }
    if (!found && picture_of(name))
        (void)printf("  Drawing: tidemark describe %s --svg > %s.svg, or docs/patterns.md\n", name, name);
    return found ? put_json(json_pack("{s:s,s:o}", "name", name, "found", found)) : EXIT_DONE;
}

static int print_svg(const struct args *a)
{
    const struct picture *p = a->n_operands > 0 ? picture_of(a->operands[0]) : NULL;
    if (!p)
        return say_usage(a->cmd, "--svg wants a NAME that has a drawing: a pattern, or autopeep_cmh2o");
    return fwrite(p->svg, 1, p->n, stdout) == p->n ? EXIT_DONE : EXIT_OUTPUT;
}

static int print_docs(const struct args *a, const char *what)
{
    const struct command *cmd = strncmp(what, "man:", 4) == 0 ? command_find(what + 4) : NULL;
    if (strcmp(what, "metrics") == 0)
        docs_metrics(stdout);
    else if (strcmp(what, "patterns") == 0)
        docs_patterns(stdout);
    else if (strcmp(what, "commands") == 0)
        docs_options(stdout);
    else if (strcmp(what, "man") == 0)
        man_program(stdout);
    else if (cmd)
        man_command(stdout, cmd);
    else
        return say_usage(a->cmd, "--docs is metrics, patterns, commands, man or man:COMMAND, not '%s'", what);
    return EXIT_DONE;
}

static int run(const struct args *a)
{
    if (args_given(a, "docs"))
        return print_docs(a, args_value(a, "docs"));
    if (args_given(a, "svg"))
        return print_svg(a);
    if (a->n_operands > 0)
        return describe_one(a, a->operands[0]);
    if (args_given(a, "json"))
        return put_json(dictionary_json());
    list_all();
    return EXIT_DONE;
}

static const char *const examples[] = {"tidemark describe vte_ml", "What a column means, when it is empty, and where its rule is from.",
                                       "tidemark describe drift_high", "A code of why_empty or quality.",
                                       "tidemark describe reverse_trigger --svg > reverse_trigger.svg", "What a pattern looks like beside a breath without it.", NULL, NULL};

const struct command command_describe = {
    .name = "describe",
    .summary = "what a column, pattern, event or reason code means",
    .operands = "[NAME]",
    .operands_min = 0,
    .operands_max = 1,
    .text = "Prints what NAME means: a column of the tables, a pattern, an event, a reason code, or a line of the log format. "
            "Without NAME lists them all. The same words stand in dictionary.json.",
    .opts = opts,
    .examples = examples,
    .run = run,
};
