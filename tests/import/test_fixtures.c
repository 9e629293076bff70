/* The small files of fixtures/import, plain and gzipped, through the door that the program uses. */
#include "ingest/source.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define FOLDER "fixtures/import/"

struct heard {
    char codes[4096];
    bool wrong;
};

static void hear(void *user, const struct notice *n)
{
    struct heard *h = user;
    h->wrong = h->wrong || n->level != NOTICE_NOTE;
    if (!strstr(h->codes, n->code) && strlen(h->codes) + strlen(n->code) + 2 < sizeof h->codes) {
        strcat(h->codes, n->code);
        strcat(h->codes, " ");
    }
}

/* name=value of the options' own names, between semicolons. */
static void take_options(char *text, struct import_opts *o)
{
    import_opts_defaults(o);
    for (char *p = strtok(text, ";"); p; p = strtok(NULL, ";")) {
        char *value = strchr(p, '=');
        if (value)
            *value++ = '\0';
        if (strcmp(p, "columns") == 0)
            o->columns = value;
        else if (strcmp(p, "flow-unit") == 0)
            o->flow_unit = value;
        else if (strcmp(p, "pressure-unit") == 0)
            o->pressure_unit = value;
        else if (strcmp(p, "time-unit") == 0)
            o->time_unit = value;
        else if (strcmp(p, "decimal-comma") == 0)
            o->decimal_comma = true;
        else if (strcmp(p, "rate") == 0)
            o->rate_hz = strtod(value, NULL);
        else if (strcmp(p, "average") == 0)
            o->average = strtol(value, NULL, 10);
        else
            fail_msg("expected.tsv: no option %s", p);
    }
}

/* Takes the next field off the line. */
static char *field(char **line)
{
    char *f = *line, *tab = strchr(f, '\t');
    if (!tab)
        tab = f + strcspn(f, "\n");
    else
        *line = tab + 1;
    *tab = '\0';
    return f;
}

static void one(char *line)
{
    char *name = field(&line), *options = field(&line), *outcome = field(&line), *samples = field(&line),
         *last = field(&line), *said = field(&line), path[256];
    struct import_opts o;
    struct heard h = {.wrong = false};
    struct notice_sink sink = {hear, &h};
    struct source *s;
    struct err e = {.line = 0};
    struct item item;
    take_options(options, &o);
    (void)snprintf(path, sizeof path, FOLDER "%s", name);
    int rc = source_open(&s, path, &o, &sink, &e);
    if (strcmp(outcome, "refused") == 0) {
        if (rc == TM_OK || !strstr(e.what, said))
            fail_msg("%s: rc %d, %s", name, rc, e.what);
        return;
    }
    if (rc != TM_OK)
        fail_msg("%s: %s (%s)", name, e.what, e.mend);
    size_t n = 0;
    int64_t t_ns = -1;
    enum src_rc end;
    while ((end = source_next(s, &item, &e)) == SRC_ITEM)
        for (size_t i = 0; item.kind == ITEM_SAMPLES && i < item.samples->n; i++, n++) {
            assert_true(item.samples->t_ns[i] > t_ns);
            t_ns = item.samples->t_ns[i];
        }
    source_close(s);
    assert_int_equal(end, SRC_END);
    bool good = strstr(h.codes, said) && h.wrong == (strcmp(outcome, "wrong") == 0);
    if (strcmp(samples, "-") != 0)
        good = good && n == strtoul(samples, NULL, 10) && fabs((double)t_ns * 1e-9 - strtod(last, NULL)) < 0.0045;
    if (!good)
        fail_msg("%s: %zu samples to %.9f s, said: %s", name, n, (double)t_ns * 1e-9, h.codes);
}

static void all(void **state)
{
    (void)state;
    FILE *f = fopen(FOLDER "expected.tsv", "r");
    char line[512];
    int n = 0;
    assert_non_null(f);
    while (fgets(line, sizeof line, f)) {
        if (line[0] == '#')
            continue;
        one(line);
        n++;
    }
    (void)fclose(f);
    assert_true(n >= 45);
}

/* Two files give the same samples, bit for bit. */
static void same(const char *a, const char *b)
{
    struct import_opts o;
    struct source *s[2];
    struct err e;
    struct item item[2];
    import_opts_defaults(&o);
    assert_int_equal(source_open(&s[0], a, &o, NULL, &e), TM_OK);
    assert_int_equal(source_open(&s[1], b, &o, NULL, &e), TM_OK);
    for (;;) {
        enum src_rc x = source_next(s[0], &item[0], &e), y = source_next(s[1], &item[1], &e);
        assert_int_equal(x, y);
        if (x != SRC_ITEM)
            break;
        const struct sample_block *p = item[0].samples, *q = item[1].samples;
        assert_int_equal(p->n, q->n);
        assert_memory_equal(p->t_ns, q->t_ns, p->n * sizeof p->t_ns[0]);
        assert_memory_equal(p->v[CH_PAW], q->v[CH_PAW], p->n * sizeof(double));
        assert_memory_equal(p->v[CH_FLOW], q->v[CH_FLOW], p->n * sizeof(double));
    }
    source_close(s[0]);
    source_close(s[1]);
}

static void plain_and_gzipped(void **state)
{
    (void)state;
    same(FOLDER "plain.csv", FOLDER "plain.csv.gz");
    same(FOLDER "plain.csv", FOLDER "members.csv.gz");
    same(FOLDER "plain.csv", FOLDER "two-flows.csv"); /* no dust from the subtraction */
    same(FOLDER "plain.csv", FOLDER "midnight.csv");
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(all), cmocka_unit_test(plain_and_gzipped)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
