/* A pattern in words: what `describe` prints of it, and its section of docs/metrics.md. From its descriptor. */
#include "analyze/patterns/alike.h"
#include "analyze/program/describe.h"
#include "analyze/tables/table.h"

static void put_unit(FILE *out, const char *unit)
{
    if (unit[0])
        (void)fprintf(out, " %s", unit);
}

void describe_pattern_text(FILE *out, enum pattern_id p)
{
    const struct pattern *d = pattern_of(p);
    if (!d)
        return;
    (void)fprintf(out, "  Signature: %s\n  Confidence: %s\n  Look-alikes: %s\n  Parameters (--set %s.NAME=VALUE):\n", d->signature,
                  d->confidence, d->alike, pattern_name(p));
    for (const struct pattern_param *q = d->params; q->name; q++) {
        (void)fprintf(out, "    %s = %g", q->name, q->dflt);
        put_unit(out, q->unit);
        (void)fprintf(out, " (%g to %g): %s Source: %s.\n", q->low, q->high, q->meaning, q->source);
    }
    (void)fputs("  Evidence in flags.csv:\n", out);
    for (const struct pattern_evidence *e = d->evidence; e->key; e++) {
        (void)fprintf(out, "    %s", e->key);
        put_unit(out, e->unit);
        (void)fprintf(out, ": %s\n", e->meaning);
    }
    for (const struct pattern_evidence *e = alike_evidence; e->key; e++) {
        (void)fprintf(out, "    %s", e->key);
        put_unit(out, e->unit);
        (void)fprintf(out, ": %s\n", e->meaning);
    }
}

void docs_pattern(FILE *out, enum pattern_id p)
{
    const struct pattern *d = pattern_of(p);
    if (!d)
        return;
    (void)fprintf(out, "\n### %s\n\n**Signature.** %s\n\n**Confidence.** %s\n\n**Look-alikes.** %s\n\n", pattern_name(p), d->signature,
                  d->confidence, d->alike);
    (void)fprintf(out, "Parameters, changed by `--set %s.NAME=VALUE` or `--settings FILE`; the values used stand in summary.json.\n\n"
                  "| parameter | default | range | unit | meaning | source |\n|---|---|---|---|---|---|\n", pattern_name(p));
    for (const struct pattern_param *q = d->params; q->name; q++)
        (void)fprintf(out, "| `%s` | %g | %g to %g | %s | %s | %s |\n", q->name, q->dflt, q->low, q->high, q->unit, q->meaning, q->source);
    (void)fputs("\n| evidence | unit | meaning |\n|---|---|---|\n", out);
    for (const struct pattern_evidence *e = d->evidence; e->key; e++)
        (void)fprintf(out, "| `%s` | %s | %s |\n", e->key, e->unit, e->meaning);
    for (const struct pattern_evidence *e = alike_evidence; e->key; e++)
        (void)fprintf(out, "| `%s` | %s | %s |\n", e->key, e->unit, e->meaning);
}
