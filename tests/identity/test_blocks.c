/* Rows and events do not depend on how samples are cut into blocks: whole blocks, one sample at a time, fixed odd
 * sizes and random ones give the same bits. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "analyze/patterns/pattern.h"
#include "analyze/session/engine.h"
#include "tests/identity/stream.h"

/* Everything the engine said, as text with exact numbers. */
struct said {
    char *text;
    size_t n, cap;
    size_t rows, events;
};

static void say(struct said *s, const char *fmt, ...) PRINTF_LIKE(2, 3);
static void say(struct said *s, const char *fmt, ...)
{
    if (s->cap - s->n < 256) {
        s->cap = 2 * s->cap + 4096;
        s->text = realloc(s->text, s->cap);
        assert_non_null(s->text);
    }
    va_list args;
    va_start(args, fmt);
    int n = vsnprintf(s->text + s->n, s->cap - s->n, fmt, args);
    va_end(args);
    assert_in_range(n, 0, 255);
    s->n += (size_t)n;
}

static int on_row(void *user, const struct breath_row *r)
{
    struct said *s = user;
    s->rows++;
    say(s, "row %llu %lld %lld %lld %d %d %d %d %llx\n", (unsigned long long)r->number, (long long)r->t0_ns,
        (long long)r->t1_ns, (long long)r->t2_ns, r->complete, (int)r->kind, (int)r->initiation, (int)r->control,
        (unsigned long long)r->quality);
    for (int c = 0; c < COL_N; c++) {
        say(s, " %a/%d", r->v[c], r->why[c]);
    }
    say(s, "\n");
    return 0;
}

static int on_event(void *user, const struct event *e)
{
    struct said *s = user;
    s->events++;
    say(s, "event %s %lld %lld %d %s", event_name(e->id), (long long)e->start_ns, (long long)e->end_ns,
        (int)e->confidence, e->note);
    for (int i = 0; i < e->n_values; i++) {
        say(s, " %s=%a%s", e->values[i].key, e->values[i].text ? 0.0 : e->values[i].number,
            e->values[i].text ? e->values[i].text : "");
    }
    say(s, "\n");
    return 0;
}

static int on_flag(void *user, const struct flag *f)
{
    struct said *s = user;
    say(s, "flag %llu %s %lld %d", (unsigned long long)f->breath, pattern_name(f->pattern), (long long)f->what.at_ns,
        (int)f->what.confidence);
    for (int i = 0; i < f->what.n; i++)
        say(s, " %s=%a", f->what.evidence[i].key, f->what.evidence[i].text ? 0.0 : f->what.evidence[i].number);
    say(s, "\n");
    return 0;
}

/* size 0: random sizes. */
static size_t next_size(size_t size, uint64_t *seed)
{
    return size ? size : 1 + (size_t)(stream_random(seed) * (BLOCK_CAP - 1));
}

static void push_samples(struct engine *e, const struct stream *st, size_t from, size_t n, struct sample_block *b)
{
    b->n = n;
    b->channels = 1u << CH_PAW | 1u << CH_FLOW;
    memcpy(b->t_ns, st->t_ns + from, n * sizeof *b->t_ns);
    memcpy(b->v[CH_PAW], st->paw + from, n * sizeof(double));
    memcpy(b->v[CH_FLOW], st->flow + from, n * sizeof(double));
    struct item it = {.kind = ITEM_SAMPLES, .samples = b};
    assert_int_equal(engine_push(e, &it), TM_OK);
}

static struct said run(const struct stream *st, size_t size, uint64_t seed)
{
    struct said s = {0};
    struct engine_sink sink = {&s, on_row, on_event, NULL, on_flag};
    struct engine_opts opts = {PATIENT_ADULT, 61.466, NULL};
    struct engine *e = NULL;
    struct sample_block *b = malloc(sizeof *b);
    assert_non_null(b);
    assert_int_equal(engine_new(&e, &st->info, &opts, &sink), TM_OK);
    size_t at = 0, next_break = 0;
    while (at < st->n) {
        size_t end = next_break < st->n_breaks ? st->breaks[next_break].before : st->n;
        if (at == end) {
            assert_int_equal(engine_push(e, &st->breaks[next_break++].item), TM_OK);
            continue;
        }
        size_t n = next_size(size, &seed);
        n = n < end - at ? n : end - at;
        push_samples(e, st, at, n, b);
        memset(b, 0xA5, sizeof *b); /* the engine keeps no pointer into a block */
        at += n;
    }
    assert_int_equal(engine_end(e), TM_OK);
    engine_destroy(e);
    free(b);
    return s;
}

static void compare(const struct stream *st, const struct said *whole, size_t size, uint64_t seed)
{
    struct said s = run(st, size, seed);
    if (s.n != whole->n || memcmp(s.text, whole->text, s.n) != 0) {
        size_t i = 0;
        while (i < s.n && i < whole->n && s.text[i] == whole->text[i]) {
            i++;
        }
        size_t from = i > 200 ? i - 200 : 0;
        fail_msg("blocks of %zu (seed %llu) differ at byte %zu:\n%.300s\nwhole:\n%.300s", size,
                 (unsigned long long)seed, i, s.text + from, whole->text + from);
    }
    free(s.text);
}

static void same_bits(double rate_hz)
{
    struct stream st;
    assert_int_equal(stream_make(&st, rate_hz, 260, 7), 0);
    struct said whole = run(&st, BLOCK_CAP, 0);
    /* 100 s of breaths every 3 s, then every 3.4 s, less a disconnection and the holes: the comparison has food. */
    assert_true(whole.rows > 50 && whole.rows < 90);
    assert_true(whole.events >= 1);
    const size_t sizes[] = {1, 2, 7, 97, 100, 1000};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        compare(&st, &whole, sizes[i], 0);
    }
    for (uint64_t seed = 1; seed <= 5; seed++) {
        compare(&st, &whole, 0, seed);
    }
    free(whole.text);
    stream_free(&st);
}

static void at_100_hz(void **state)
{
    (void)state;
    same_bits(100);
}

static void at_25_hz(void **state)
{
    (void)state;
    same_bits(25);
}

static void at_1000_hz(void **state)
{
    (void)state;
    same_bits(1000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(at_25_hz), cmocka_unit_test(at_100_hz),
                                       cmocka_unit_test(at_1000_hz)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
