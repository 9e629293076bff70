/* What changed when: steps that stay and those that don't, windows before and after, marks, and the sentences. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "analyze/session/steps.h"
#include "analyze/session/story.h"
#include "analyze/tables/story_words.h"
#include "tests/tables/burden_kit.h"

/* Values of one level and another; returns how many steps, the last in *out. */
static int steps_of(const double *v, int n, double counts, struct step *out)
{
    struct step_finder f;
    int found = 0;
    memset(&f, 0, sizeof f);
    for (int i = 0; i < n; i++)
        found += step_add(&f, v[i], i * 4 * NS_PER_S, counts, 0, out);
    return found;
}

static void test_steps(void **state)
{
    (void)state;
    double v[120];
    struct step s;
    for (int i = 0; i < 120; i++)
        v[i] = (i < 60 ? 10 : 14) + 0.1 * (i % 3 - 1);
    assert_int_equal(steps_of(v, 120, 1.5, &s), 1);
    assert_int_equal(s.at_ns / NS_PER_S, 240);
    assert_true(fabs(s.from - 10) < 0.11 && fabs(s.to - 14) < 0.11);
    assert_int_equal(steps_of(v, 79, 1.5, &s), 0); /* 19 breaths of it: not yet */
    assert_int_equal(steps_of(v, 80, 1.5, &s), 1);
    assert_int_equal(steps_of(v, 120, 4.5, &s), 0); /* too small */
    for (int i = 60; i < 120; i++)
        v[i] = i < 75 ? 14 : 10; /* back after 15 */
    assert_int_equal(steps_of(v, 120, 1.5, &s), 0);
    for (int i = 0; i < 120; i++)
        v[i] = 10 + 0.02 * i; /* a drift of 2.4 in 8 minutes */
    assert_int_equal(steps_of(v, 120, 1.5, &s), 0);
    for (int i = 0; i < 120; i++)
        v[i] = 10 + (i < 60 ? 0 : 2) + 1.5 * (i % 4 - 1.5); /* a patient who varies by as much */
    assert_int_equal(steps_of(v, 120, 1.5, &s), 0);
    for (int i = 0; i < 120; i++)
        v[i] = 8 + 3 * (i < 30 ? 0 : (i - 30) / 16 < 4 ? 1 + (i - 30) / 16 : 4); /* a staircase of 16 breaths each */
    assert_int_equal(steps_of(v, 120, 0.8, &s), 4);
    assert_true(s.to == 20 && s.at_ns / NS_PER_S == (30 + 3 * 16) * 4);
}

static void play(struct story *s, const struct breath_row *r, int ineffective)
{
    story_row(s, r);
    for (int i = 0; i < ineffective; i++) {
        const struct flag f = made_flag(r, PATTERN_ineffective_effort, i % 2 ? CONF_DEFINITE : CONF_POSSIBLE);
        story_flag(s, &f);
    }
}

/* 3 s breaths, 2 h; PEEP 5, support 10, from 1:00:00 on 14. Ineffective: one in each 400 s before, one in each 60 s after. */
static struct story *support_night(void)
{
    struct story *s;
    assert_int_equal(story_new(&s), TM_OK);
    for (uint64_t i = 0; i < 2400; i++) {
        struct breath_row r = made_breath(i + 1, 3.0 * (double)i, 3);
        r.v[COL_peep_cmh2o] = 5;
        r.v[COL_pip_cmh2o] = i < 1200 ? 15 : 19;
        if (i % 10 == 9)
            r.unjudged[PATTERN_ineffective_effort] = WHY_leak_high;
        play(s, &r, i < 1200 ? i % 133 == 0 : i % 20 == 0);
    }
    story_end(s);
    return s;
}

static void test_support(void **state)
{
    (void)state;
    struct story *s = support_night();
    const struct story_step *x;
    uint64_t all;
    char words[STORY_WORDS_MAX];
    assert_int_equal(story_steps(s, &x, &all), 1);
    assert_int_equal(all, 1);
    assert_int_equal(x->setting, SETTING_pressure);
    assert_int_equal(x->at_ns / NS_PER_S, 3600);
    assert_true(x->from == 10 && x->to == 14);
    assert_int_equal(x->before.from_ns / NS_PER_S, 1800);
    assert_int_equal(x->after.to_ns / NS_PER_S, 5400);
    assert_int_equal(x->before.judged, 540); /* 9 of 10 of 600 */
    assert_int_equal(x->before.machine, 600);
    assert_int_equal(x->after.judged_ns / NS_PER_S, 1620);
    /* 665, 798, 931, 1064, 1197 lie in 600..1199; those judged: all but ends in 9 */
    assert_int_equal(x->before.ineffective[WITH_POSSIBLE], 5);
    assert_int_equal(x->after.ineffective[WITH_POSSIBLE], 30);
    assert_int_equal(x->after.ineffective[DEFINITE], 0);
    story_step_words(words, x);
    assert_string_equal(words, "1:00:00: peak pressure above PEEP 10.0 to 14.0 cmH2O; ineffective efforts (possible ones too) 11 per hour in the 30 min before, 67 in the "
                               "30 min after (judged breaths 540, 540)");
    story_destroy(s);
}

/* PEEP up at 20 min and down at 30: each side ends at the neighbour. A change of kind at 30 min 30 s is of the same moment. */
static void test_neighbours(void **state)
{
    (void)state;
    struct story *s;
    assert_int_equal(story_new(&s), TM_OK);
    for (uint64_t i = 0; i < 1200; i++) {
        struct breath_row r = made_breath(i + 1, 3.0 * (double)i, 3);
        r.v[COL_peep_cmh2o] = i >= 400 && i < 600 ? 8 : 5;
        r.kind = i >= 610 ? KIND_UNASSISTED : KIND_SUPPORTED;
        play(s, &r, 0);
    }
    story_end(s);
    const struct story_step *x;
    uint64_t all;
    assert_int_equal(story_steps(s, &x, &all), 3);
    assert_int_equal(x[0].before.from_ns / NS_PER_S, 0);
    assert_int_equal(x[0].after.to_ns / NS_PER_S, 1800);
    assert_int_equal(x[1].before.from_ns / NS_PER_S, 1200);
    assert_int_equal(x[1].after.to_ns / NS_PER_S, 3600);
    assert_int_equal(x[2].setting, SETTING_kind);
    assert_int_equal(x[2].at_ns / NS_PER_S, 1830);
    assert_int_equal(x[2].before.from_ns / NS_PER_S, 1200);
    char words[STORY_WORDS_MAX];
    story_step_words(words, &x[2]);
    assert_string_equal(words, "0:30:30: supported breaths to unassisted breaths; ineffective efforts (possible ones too) 0 per hour in the 10 min before "
                               "(judged breaths 210); too few breaths could be judged in the 30 min after (0)");
    story_destroy(s);
}

/* 14 of a mandatory rate, then 20; not told where the patient's breaths lie between. */
static void test_rate(void **state)
{
    (void)state;
    for (int mixed = 0; mixed < 2; mixed++) {
        struct story *s;
        double at = 0;
        assert_int_equal(story_new(&s), TM_OK);
        for (uint64_t i = 0; i < 200; i++) {
            const double s_each = 60.0 / (i < 100 ? 14 : 20);
            struct breath_row r = made_breath(i + 1, at, s_each);
            r.kind = mixed && i % 2 ? KIND_SUPPORTED : KIND_MANDATORY;
            r.control = CONTROL_VOLUME;
            play(s, &r, 0);
            at += s_each;
        }
        story_end(s);
        const struct story_step *x;
        uint64_t all;
        assert_int_equal(story_steps(s, &x, &all), mixed ? 0 : 1);
        if (!mixed)
            assert_true(x->setting == SETTING_rate && fabs(x->from - 14) < 1e-6 && fabs(x->to - 20) < 1e-6 && llabs(x->at_ns - INT64_C(428571428571)) < 1000);
        story_destroy(s);
    }
}

static struct mark mark_at(double at_s, const char *kind, const char *text)
{
    struct mark m;
    memset(&m, 0, sizeof m);
    m.at_ns = (int64_t)(at_s * 1e9);
    m.entered_ns = -1;
    memcpy(m.kind, kind, strlen(kind));
    memcpy(m.text, text, strlen(text));
    return m;
}

/* posture at 10 and 40 min, sedation at 20; one mark comes before its rows, as in a log, one 5 minutes late. */
static void test_marks(void **state)
{
    (void)state;
    struct story *s;
    assert_int_equal(story_new(&s), TM_OK);
    const struct mark back = mark_at(600, "posture", "to=supine note=Mrs%20X"), prone = mark_at(2400, "posture", "to=prone"),
                      drug = mark_at(1200, "s\xe9" "dation", "text=Infusion%20up"); /* not UTF-8 */
    for (uint64_t i = 0; i < 1200; i++) {
        const struct breath_row r = made_breath(i + 1, 3.0 * (double)i, 3);
        if (i == 0)
            story_mark(s, &back);
        if (i == 500)
            story_mark(s, &drug); /* 300 s late */
        if (i == 780)
            story_mark(s, &prone);
        play(s, &r, i >= 200 && i < 800 && i % 10 == 0);
    }
    story_end(s);
    const struct story_block *b;
    uint64_t all;
    assert_int_equal(story_blocks(s, &b, &all), 3);
    assert_int_equal(all, 3);
    assert_string_equal(b[0].kind, "posture");
    assert_string_equal(b[0].text, "to=supine"); /* no free text */
    assert_string_equal(b[1].text, "");
    assert_string_equal(b[1].kind, "s?dation");
    assert_int_equal(b[0].to_ns / NS_PER_S, 2400);
    assert_int_equal(b[0].count.machine, 600);
    assert_int_equal(b[0].count.set[BURDEN_PATTERN + PATTERN_ineffective_effort].events[WITH_POSSIBLE], 60);
    assert_int_equal(b[1].mark_ns / NS_PER_S, 1200);
    assert_int_equal(b[1].from_ns / NS_PER_S, 1500);
    assert_int_equal(b[1].to_ns / NS_PER_S, 3600);
    assert_int_equal(b[1].count.machine, 700);
    assert_int_equal(b[1].before.machine, 200); /* 10 min before the time meant */
    assert_int_equal(b[2].count.machine, 400);
    char words[STORY_WORDS_MAX];
    story_mark_words(words, &b[2]);
    assert_string_equal(words, "0:40:00: mark posture (to=prone); ineffective efforts (possible ones too) 120 per hour in the 10 min before, 0 in the "
                               "10 min after (judged breaths 200, 200)");
    story_destroy(s);
}

/* More steps than are kept: the largest stay, in order of time. */
static void test_many(void **state)
{
    (void)state;
    struct story *s;
    assert_int_equal(story_new(&s), TM_OK);
    for (uint64_t i = 0; i < 60 * 60; i++) {
        struct breath_row r = made_breath(i + 1, 3.0 * (double)i, 3);
        const uint64_t k = i / 60;
        r.v[COL_peep_cmh2o] = 5 + (k % 2 ? (k == 33 ? 6 : 2) : 0);
        play(s, &r, 0);
    }
    story_end(s);
    const struct story_step *x;
    uint64_t all;
    const int n = story_steps(s, &x, &all);
    assert_int_equal(n, STORY_STEPS_KEPT);
    assert_int_equal(all, 59);
    bool large = false;
    for (int i = 0; i < n; i++) {
        large = large || x[i].to == 11;
        assert_true(i == 0 || x[i - 1].at_ns <= x[i].at_ns);
    }
    assert_true(large);
    story_destroy(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_steps), cmocka_unit_test(test_support), cmocka_unit_test(test_neighbours),
        cmocka_unit_test(test_rate),  cmocka_unit_test(test_marks),   cmocka_unit_test(test_many),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
