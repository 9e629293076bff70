/* What is written is read back: times to the nanosecond, values bit for bit, gaps, marks, clock events, the head. */
#include "tests/log/kit.h"

#include "ingest/units.h"

#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct sample_block block;

static struct log_writer *open_writer(struct memory *m, const struct recording_info *in, bool plain, bool exact)
{
    struct log_writer *w;
    struct log_write_opts o = {.write = memory_write, .user = m, .plain = plain, .exact = exact, .level = 1};
    assert_int_equal(log_writer_new(&w, in, &o, NULL), TM_OK);
    return w;
}

static bool same(double a, double b)
{
    return (isnan(a) && isnan(b)) || memcmp(&a, &b, sizeof a) == 0;
}

/* A random recording: how it is paced, and what its numbers looked like in some text. */
struct recipe {
    struct recording_info in;
    int places[CH_N];
    double factor[CH_N];
    bool jitter, plain;
    size_t n;
    int64_t t, k, base; /* of the next sample */
};

static void make_recipe(struct recipe *r, uint64_t *seed)
{
    static const struct {
        int64_t num, den;
    } rates[] = {{100, 1}, {512, 1}, {1000, 3}, {25, 1}, {1000, 1}, {312, 5}, {333333, 1000}, {60, 1}};
    static const char *const paw[] = {"cm[H2O]", "hPa", "mbar", "kPa", "mm[Hg]"};
    static const char *const flow[] = {"L/s", "L/min", "mL/s"};
    memset(r, 0, sizeof *r);
    r->in = plain_info();
    size_t pick = rnd(seed) % 8;
    r->in.rate_num = rates[pick].num;
    r->in.rate_den = rates[pick].den;
    strcpy(r->in.channel[CH_PAW].unit, paw[rnd(seed) % 5]);
    strcpy(r->in.channel[CH_FLOW].unit, flow[rnd(seed) % 3]);
    r->in.channel[CH_CO2] = (struct channel_info){.present = rnd(seed) & 1, .decimals = -1};
    r->in.first_source_ns = (int64_t)(rnd(seed) % 4000000000000u) - 1000000000000;
    for (int c = 0; c < CH_N; c++) {
        r->places[c] = (int)(rnd(seed) % 10);
        const char *unit = r->in.channel[c].unit;
        const struct unit *u = unit_find(unit, strlen(unit), channel_quantity((enum channel)c));
        r->factor[c] = u ? u->factor : 1.0;
    }
    r->jitter = rnd(seed) & 1;
    r->plain = rnd(seed) & 1;
    r->n = 3000 + rnd(seed) % 3000;
}

/* The next sample: a number as it stood in a text, now and then none; steps near the rate, now and then a hole. */
static void next_sample(struct recipe *r, struct got_sample *s, uint64_t *seed)
{
    s->t_ns = r->t;
    for (int c = 0; c < CH_N; c++) {
        s->v[c] = (double)NAN;
        if (!r->in.channel[c].present || rnd(seed) % 50 == 0)
            continue;
        char text[64];
        (void)snprintf(text, sizeof text, "%.*f", r->places[c],
                       ((double)(int64_t)(rnd(seed) % 2000001) - 1e6) / pow(10, r->places[c]));
        s->v[c] = strtod(text, NULL) * r->factor[c];
    }
    r->k++;
    r->t = r->base + (r->k * 1000000000 * r->in.rate_den + r->in.rate_num / 2) / r->in.rate_num;
    if (r->jitter)
        r->t += (int64_t)(rnd(seed) % 900000) - 450000;
    if (rnd(seed) % 997 == 0) {
        r->base = r->t + (int64_t)(rnd(seed) % 5000000000);
        r->k = 0;
        r->t = r->base;
    }
    if (r->t <= s->t_ns)
        r->t = s->t_ns + 1;
}

static void one_recording(uint64_t *seed)
{
    struct recipe r;
    make_recipe(&r, seed);
    struct got_sample *want = calloc(r.n, sizeof *want);
    assert_non_null(want);
    struct memory m = {0};
    struct log_writer *w = open_writer(&m, &r.in, r.plain, true);
    for (size_t i = 0; i < r.n;) {
        block.channels = 3u | (unsigned)r.in.channel[CH_CO2].present << CH_CO2;
        size_t size = 1 + rnd(seed) % BLOCK_CAP;
        for (block.n = 0; block.n < size && i < r.n; block.n++, i++) {
            next_sample(&r, &want[i], seed);
            block.t_ns[block.n] = want[i].t_ns;
            for (int c = 0; c < CH_N; c++)
                block.v[c][block.n] = want[i].v[c];
        }
        assert_int_equal(log_write_samples(w, &block), TM_OK);
    }
    assert_int_equal(log_writer_inexact(w), 0);
    assert_int_equal(log_write_close(w), TM_OK);
    log_writer_destroy(w);
    struct got g;
    read_memory(&g, m.data, m.n);
    assert_string_equal(g.heard.codes, "");
    assert_int_equal(g.rc, SRC_END);
    assert_true(g.closed_well);
    assert_int_equal(g.n, r.n);
    assert_int_equal(g.info.first_source_ns, r.in.first_source_ns);
    for (size_t i = 0; i < r.n; i++) {
        assert_int_equal(g.sample[i].t_ns, want[i].t_ns);
        for (int c = 0; c < CH_N; c++)
            assert_true(same(g.sample[i].v[c], want[i].v[c]));
    }
    got_free(&g);
    memory_free(&m);
    free(want);
}

static void any_recording(void **state)
{
    (void)state;
    uint64_t seed = 20260304;
    for (int k = 0; k < 60; k++)
        one_recording(&seed);
}

/* Full-precision doubles, as another program prints them with 17 digits: decimals grow until nothing is lost. */
static void full_precision(void **state)
{
    (void)state;
    uint64_t seed = 5;
    struct recording_info in = plain_info();
    strcpy(in.channel[CH_FLOW].unit, "L/min");
    struct memory m = {0};
    struct log_writer *w = open_writer(&m, &in, false, true);
    struct got_sample want[2000];
    for (size_t i = 0; i < 2000; i++) {
        block.n = 1;
        block.channels = 3;
        block.t_ns[0] = (int64_t)i * 10000000;
        block.v[CH_PAW][0] = want[i].v[CH_PAW] = 4 + (double)(rnd(&seed) >> 11) / 9007199254740992.0 * 20;
        block.v[CH_FLOW][0] = want[i].v[CH_FLOW] =
            (32 + (double)(rnd(&seed) >> 11) / 9007199254740992.0 * 20) * (1.0 / 60.0);
        assert_int_equal(log_write_samples(w, &block), TM_OK);
    }
    assert_int_equal(log_writer_inexact(w), 0);
    assert_int_equal(log_write_close(w), TM_OK);
    log_writer_destroy(w);
    struct got g;
    read_memory(&g, m.data, m.n);
    assert_string_equal(g.heard.codes, "");
    assert_int_equal(g.n, 2000);
    for (size_t i = 0; i < 2000; i++)
        assert_true(same(g.sample[i].v[CH_PAW], want[i].v[CH_PAW]) && same(g.sample[i].v[CH_FLOW], want[i].v[CH_FLOW]));
    got_free(&g);
    memory_free(&m);
}

static void put(struct log_writer *w, int64_t from, int64_t n)
{
    for (int64_t i = 0; i < n; i++) {
        block.n = 1;
        block.channels = 3;
        block.t_ns[0] = from + i * 10000000;
        block.v[CH_PAW][0] = 5 + (double)(i % 7);
        block.v[CH_FLOW][0] = 0.25 * (double)(i % 3);
        assert_int_equal(log_write_samples(w, &block), TM_OK);
    }
}

/* Gaps, marks and a clock that is set back keep their times and their places among the samples. */
static void events(void **state)
{
    (void)state;
    struct recording_info in = plain_info();
    in.first_source_ns = 3600 * NS_PER_S;
    in.start_known = true;
    strcpy(in.start, "2026-03-04T22:30:00.250+01:00");
    in.start_unix_ns = 1772659800250000000;
    in.start_offset_min = 60;
    struct memory m = {0};
    struct log_writer *w = open_writer(&m, &in, false, false);
    put(w, 0, 250);
    struct mark mk = {.at_ns = 1230000000, .entered_ns = 2490000001, .kind = "suction", .text = "note=two%20words by=A1"};
    assert_int_equal(log_write_mark(w, &mk), TM_OK);
    put(w, 2500000000, 50);
    struct gap g1 = {.from_ns = 2990000000, .to_ns = 15000000000, .reason = "cable-out"};
    assert_int_equal(log_write_gap(w, &g1), TM_OK);
    put(w, 15000000000, 120);
    assert_int_equal(log_write_clock(w, "reset", -3000 * NS_PER_S), TM_OK);
    put(w, 17000000000, 6500);
    struct mark late = {.at_ns = 81000000000, .entered_ns = -1, .kind = "hold"};
    assert_int_equal(log_write_mark(w, &late), TM_OK);
    assert_int_equal(log_write_close(w), TM_OK);
    log_writer_destroy(w);
    struct got g;
    read_memory(&g, m.data, m.n);
    assert_string_equal(g.heard.codes, "clock");
    assert_int_equal(g.heard.wrong, 0);
    assert_true(g.closed_well);
    assert_int_equal(g.n, 250 + 50 + 120 + 6500);
    assert_int_equal(g.sample[g.n - 1].t_ns, 17000000000 + 6499 * (int64_t)10000000);
    assert_int_equal(g.gaps, 2);
    assert_string_equal(g.gap[0].reason, "cable-out");
    assert_int_equal(g.gap[0].from_ns, g1.from_ns);
    assert_int_equal(g.gap[0].to_ns, g1.to_ns);
    assert_string_equal(g.gap[1].reason, "clock");
    assert_int_equal(g.gap[1].from_ns, 16190000000);
    assert_int_equal(g.gap[1].to_ns, 17000000000);
    assert_int_equal(g.marks, 2);
    assert_int_equal(g.mark_at[0], 250);
    assert_int_equal(g.mark[0].at_ns, mk.at_ns);
    assert_int_equal(g.mark[0].entered_ns, mk.entered_ns);
    assert_string_equal(g.mark[0].kind, "suction");
    assert_string_equal(g.mark[0].text, mk.text);
    assert_int_equal(g.mark_at[1], g.n);
    assert_int_equal(g.mark[1].at_ns, late.at_ns);
    assert_int_equal(g.mark[1].entered_ns, -1);
    got_free(&g);
    memory_free(&m);
}

static void the_head(void **state)
{
    (void)state;
    struct recording_info in = plain_info();
    in.regular = false;
    in.rate_num = 333333;
    in.rate_den = 1000;
    in.gap_limit_ns = 20000001;
    strcpy(in.channel[CH_FLOW].gas, "BTPS");
    in.channel[CH_SPO2] = (struct channel_info){.present = true, .unit = "%", .decimals = 0};
    strcpy(in.subject_code, "K7-q_2");
    in.sex = 'f';
    in.height_cm = 165;
    strcpy(in.age_band, "60-69");
    in.patient = PATIENT_CHILD;
    strcpy(in.airway, "tube oral");
    in.tube_mm = 7.5;
    strcpy(in.site, "airway");
    in.circuit_c_ml_cmh2o = 1.25;
    strcpy(in.session, "n-17");
    in.part = 3;
    struct memory m = {0};
    struct log_writer *w = open_writer(&m, &in, true, false);
    assert_int_equal(log_write_close(w), TM_OK);
    log_writer_destroy(w);
    struct got g;
    read_memory(&g, m.data, m.n);
    assert_string_equal(g.heard.codes, "");
    assert_int_equal(g.n, 0);
    const struct recording_info *r = &g.info;
    assert_false(r->regular);
    assert_true(r->rate_num == 333333 && r->rate_den == 1000 && r->gap_limit_ns == 20000001);
    assert_string_equal(r->channel[CH_PAW].unit, "cm[H2O]");
    assert_string_equal(r->channel[CH_FLOW].gas, "BTPS");
    assert_string_equal(r->channel[CH_SPO2].unit, "%");
    assert_int_equal(r->channel[CH_FLOW].decimals, 3);
    assert_string_equal(r->subject_code, "K7-q_2");
    assert_true(r->sex == 'f' && r->height_cm == 165 && r->patient == PATIENT_CHILD);
    assert_string_equal(r->age_band, "60-69");
    assert_string_equal(r->airway, "tube oral");
    assert_true(r->tube_mm == 7.5 && r->circuit_c_ml_cmh2o == 1.25);
    assert_string_equal(r->site, "airway");
    assert_string_equal(r->session, "n-17");
    assert_int_equal(r->part, 3);
    got_free(&g);
    memory_free(&m);
}

static void misuse(void **state)
{
    (void)state;
    struct recording_info in = plain_info();
    struct memory m = {0};
    struct log_writer *w;
    struct log_write_opts o = {.write = memory_write, .user = &m};
    struct err e;
    in.rate_num = 0;
    assert_int_equal(log_writer_new(&w, &in, &o, &e), TM_ERR_USAGE);
    in = plain_info();
    strcpy(in.channel[CH_PAW].unit, "furlong");
    assert_int_equal(log_writer_new(&w, &in, &o, &e), TM_ERR_USAGE);
    in = plain_info();
    in.channel[CH_FLOW].present = false;
    assert_int_equal(log_writer_new(&w, &in, &o, &e), TM_ERR_USAGE);
    in = plain_info();
    assert_int_equal(log_writer_new(&w, &in, &o, &e), TM_OK);
    put(w, 0, 1);
    assert_int_equal(log_write_samples(w, &block), TM_ERR_USAGE); /* the same time again */
    log_writer_destroy(w);
    log_writer_destroy(NULL);
    memory_free(&m);
}

static int full_disk(void *user, const void *data, size_t n)
{
    size_t *left = user;
    (void)data;
    if (n > *left)
        return TM_ERR_SYSTEM;
    *left -= n;
    return TM_OK;
}

/* A write function that fails is heard, at once and for ever. */
static void write_fails(void **state)
{
    (void)state;
    struct recording_info in = plain_info();
    for (size_t room = 0; room < 3000; room += 100) {
        size_t left = room;
        struct log_writer *w;
        struct log_write_opts o = {.write = full_disk, .user = &left};
        assert_int_equal(log_writer_new(&w, &in, &o, NULL), TM_OK);
        int rc = TM_OK;
        for (int64_t i = 0; i < 20000 && rc == TM_OK; i++) {
            block.n = 1;
            block.t_ns[0] = i * 10000000;
            rc = log_write_samples(w, &block);
        }
        assert_int_equal(rc, TM_ERR_SYSTEM);
        assert_int_equal(log_write_close(w), TM_ERR_SYSTEM);
        log_writer_destroy(w);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_recording), cmocka_unit_test(full_precision), cmocka_unit_test(events),
        cmocka_unit_test(the_head),      cmocka_unit_test(misuse),         cmocka_unit_test(write_fails),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
