/* Torn and damaged logs: what is lost is bounded and told; recovery gives a clean log of all the rest; a reader can
 * start at any member. */
#include "tests/log/kit.h"

#include "ingest/log/log_index.h"
#include "ingest/log/log_recover.h"

#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

#define RATE 50

static struct sample_block block;

static double paw_at(int64_t k)
{
    return (double)(500 + k * 37 % 1000) / 100;
}

/* `seconds` at 50 Hz in members of member_s, with a hole of 5 s and a clock that is set back half-way. begun (may be
 * NULL): the bytes that had been written when each second's first sample had gone in. */
static void make_log(struct memory *m, int64_t seconds, int64_t member_s, size_t *begun)
{
    struct recording_info in = plain_info();
    in.rate_num = RATE;
    in.gap_limit_ns = 30000000;
    in.first_source_ns = 100 * NS_PER_S;
    struct log_writer *w;
    struct log_write_opts o = {.write = memory_write, .user = m, .member_ns = member_s * NS_PER_S};
    assert_int_equal(log_writer_new(&w, &in, &o, NULL), TM_OK);
    for (int64_t k = 0; k < seconds * RATE; k++) {
        bool late = k >= seconds * RATE / 2;
        if (k == seconds * RATE / 2)
            assert_int_equal(log_write_clock(w, "reset", -50 * NS_PER_S), TM_OK);
        block.n = 1;
        block.channels = 3;
        block.t_ns[0] = k * (NS_PER_S / RATE) + (late ? 5 * NS_PER_S : 0);
        block.v[CH_PAW][0] = paw_at(k);
        block.v[CH_FLOW][0] = (double)(k % 100) / 1000;
        assert_int_equal(log_write_samples(w, &block), TM_OK);
        if (begun && k % RATE == 0)
            begun[k / RATE] = m->n;
    }
    assert_int_equal(log_write_close(w), TM_OK);
    log_writer_destroy(w);
}

static void same_sample(const struct got_sample *a, const struct got_sample *b)
{
    assert_int_equal(a->t_ns, b->t_ns);
    assert_true(a->v[CH_PAW] == b->v[CH_PAW] && a->v[CH_FLOW] == b->v[CH_FLOW]);
}

static void truncations(void **state)
{
    (void)state;
    struct memory m = {0};
    size_t begun[200];
    make_log(&m, 200, 60, begun);
    struct got whole;
    read_memory(&whole, m.data, m.n);
    assert_int_equal(whole.n, 200 * RATE);
    uint64_t seed = 99;
    int judged = 0;
    for (int k = 0; k < 200; k++) {
        size_t cut = 400 + rnd(&seed) % (m.n - 401);
        struct got g, r;
        read_memory(&g, m.data, cut);
        if (g.rc == SRC_GONE)
            continue; /* cut within the head: not one sample */
        judged++;
        assert_int_equal(g.rc, SRC_END);
        assert_false(g.closed_well);
        assert_true(heard_code(&g.heard, "not_closed"));
        for (size_t i = 0; i < g.n; i++)
            same_sample(&g.sample[i], &whole.sample[i]);
        /* When so much had been written, second s was under way: all before it is there. */
        size_t s = 0;
        while (s + 1 < 200 && begun[s + 1] <= cut)
            s++;
        assert_true(g.n >= s * RATE);
        struct memory copy = {0};
        struct recover_report report;
        char path[64];
        make_file(path, m.data, cut);
        assert_int_equal(log_recover(path, memory_write, &copy, &report, NULL, NULL), TM_OK);
        (void)unlink(path);
        read_memory(&r, copy.data, copy.n);
        assert_int_equal(r.heard.wrong, 0);
        assert_true(r.closed_well);
        assert_int_equal(r.n, g.n);
        assert_int_equal(report.samples, g.n);
        assert_false(report.was_closed);
        for (size_t i = 0; i < r.n; i++)
            same_sample(&r.sample[i], &whole.sample[i]);
        got_free(&g);
        got_free(&r);
        memory_free(&copy);
    }
    got_free(&whole);
    memory_free(&m);
    assert_true(judged >= 190); /* the head is one part in forty of the file */
}

/* Cut exactly where each second's flush ended: not one sample flushed is missing. */
static void nothing_flushed_is_lost(void **state)
{
    (void)state;
    struct recording_info in = plain_info();
    struct memory m = {0};
    struct log_writer *w;
    struct log_write_opts o = {.write = memory_write, .user = &m, .member_ns = 20 * NS_PER_S};
    assert_int_equal(log_writer_new(&w, &in, &o, NULL), TM_OK);
    size_t at[100];
    for (int64_t s = 0; s < 100; s++) {
        for (int64_t i = 0; i < 100; i++) {
            block.n = 1;
            block.channels = 3;
            block.t_ns[0] = (s * 100 + i) * 10000000;
            block.v[CH_PAW][0] = paw_at(s * 100 + i);
            block.v[CH_FLOW][0] = 0;
            assert_int_equal(log_write_samples(w, &block), TM_OK);
        }
        assert_int_equal(log_write_flush(w), TM_OK);
        at[s] = m.n;
    }
    log_writer_destroy(w); /* killed: no closing line */
    uint64_t seed = 4;
    for (int64_t s = 0; s < 100; s++) {
        size_t more = s < 99 ? rnd(&seed) % (at[s + 1] - at[s]) : 0;
        struct got g;
        read_memory(&g, m.data, at[s] + more);
        assert_true(g.n >= (size_t)(s + 1) * 100);
        assert_true(g.n <= (size_t)(s + 2) * 100);
        got_free(&g);
    }
    memory_free(&m);
}

/* One flip in one member: that member's samples are gone, the rest is as it was, and the seconds lost are told. */
static void damaged_members(void **state)
{
    (void)state;
    struct memory m = {0};
    make_log(&m, 200, 20, NULL);
    struct got whole;
    read_memory(&whole, m.data, m.n);
    char path[64];
    make_file(path, m.data, m.n);
    struct log_index x;
    assert_int_equal(log_index_build(&x, path, NULL, NULL), TM_OK);
    (void)unlink(path);
    assert_true(x.n >= 10);
    uint64_t seed = 12;
    for (int k = 0; k < 60; k++) {
        size_t i = rnd(&seed) % (x.n - 1);
        size_t from = (size_t)x.entry[i].offset, to = (size_t)x.entry[i + 1].offset;
        size_t at = from + 10 + rnd(&seed) % (to - from - 10);
        unsigned char bit = (unsigned char)(1u << rnd(&seed) % 8);
        m.data[at] ^= bit;
        struct got g, r;
        read_memory(&g, m.data, m.n);
        struct memory copy = {0};
        struct recover_report report;
        make_file(path, m.data, m.n);
        assert_int_equal(log_recover(path, memory_write, &copy, &report, NULL, NULL), TM_OK);
        (void)unlink(path);
        m.data[at] ^= bit;
        read_memory(&r, copy.data, copy.n);
        assert_true(heard_code(&g.heard, "damaged_member") && heard_code(&g.heard, "lost"));
        size_t j = 0, missing = 0;
        for (size_t s = 0; s < whole.n; s++) {
            bool inside = whole.sample[s].t_ns >= x.entry[i].t_ns && whole.sample[s].t_ns < x.entry[i + 1].t_ns;
            missing += inside;
            if (!inside)
                same_sample(&g.sample[j++], &whole.sample[s]);
        }
        assert_int_equal(g.n, j);
        assert_true(missing > 0);
        assert_true(g.closed_well);
        assert_int_equal(r.n, g.n);
        assert_true(r.closed_well);
        assert_int_equal(report.holes, 1);
        for (size_t s = 0; s < r.n; s++)
            assert_true(r.sample[s].v[CH_PAW] == g.sample[s].v[CH_PAW]);
        got_free(&g);
        got_free(&r);
        memory_free(&copy);
    }
    log_index_free(&x);
    got_free(&whole);
    memory_free(&m);
}

static void any_member(void **state)
{
    (void)state;
    struct memory m = {0};
    make_log(&m, 300, 10, NULL);
    struct got whole;
    char path[64];
    make_file(path, m.data, m.n);
    read_log(&whole, path, 0);
    struct log_index x;
    assert_int_equal(log_index_build(&x, path, NULL, NULL), TM_OK);
    assert_true(x.n >= 30);
    assert_int_equal(x.entry[0].offset, 0);
    for (size_t i = 0; i < x.n; i++) {
        struct got g;
        read_log(&g, path, x.entry[i].offset);
        assert_int_equal(g.rc, SRC_END);
        assert_int_equal(g.heard.wrong, 0);
        assert_true(g.closed_well);
        assert_int_equal(g.sample[0].t_ns, x.entry[i].t_ns);
        size_t skip = whole.n - g.n;
        for (size_t k = 0; k < g.n; k++)
            same_sample(&g.sample[k], &whole.sample[skip + k]);
        assert_ptr_equal(log_index_find(&x, x.entry[i].t_ns), &x.entry[i]);
        got_free(&g);
    }
    assert_ptr_equal(log_index_find(&x, -5), &x.entry[0]);
    assert_ptr_equal(log_index_find(&x, INT64_MAX), &x.entry[x.n - 1]);
    log_index_free(&x);
    (void)unlink(path);
    got_free(&whole);
    memory_free(&m);
}

static void nothing_to_recover(void **state)
{
    (void)state;
    struct memory copy = {0};
    struct recover_report report;
    char path[64];
    make_file(path, "no log at all\n", 14);
    assert_int_equal(log_recover(path, memory_write, &copy, &report, NULL, NULL), TM_ERR_INPUT);
    assert_int_equal(copy.n, 0);
    (void)unlink(path);
    make_file(path, "%tidemark 1\n%channel paw unit=cm[H2O]\n", 39); /* cut within the head */
    assert_int_equal(log_recover(path, memory_write, &copy, &report, NULL, NULL), TM_ERR_INPUT);
    (void)unlink(path);
    assert_int_equal(log_recover("/nonexistent/file", memory_write, &copy, &report, NULL, NULL), TM_ERR_SYSTEM);
    memory_free(&copy);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(truncations), cmocka_unit_test(nothing_flushed_is_lost), cmocka_unit_test(damaged_members),
        cmocka_unit_test(any_member),  cmocka_unit_test(nothing_to_recover),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
