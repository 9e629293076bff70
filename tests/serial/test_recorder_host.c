/* The recorder and a source that sends bare sample lines, or nothing that can be used. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "tests/serial/run_script.h"

static void bare_channels(struct recorder_opts *o)
{
    o->columns = 2;
    o->column[0] = CH_PAW;
    o->column[1] = CH_FLOW;
    (void)snprintf(o->info.channel[CH_PAW].unit, sizeof o->info.channel[CH_PAW].unit, "cm[H2O]");
    (void)snprintf(o->info.channel[CH_FLOW].unit, sizeof o->info.channel[CH_FLOW].unit, "L/s");
    o->info.rate_num = 50;
    o->info.rate_den = 1;
}

static void arrival_times_where_the_source_has_none(void **state)
{
    struct run *run = *state;
    struct step steps[200];
    size_t n = 0;
    steps[n++] = (struct step){STEP_BYTES, "9,9\n", 0, 0}; /* may be cut: left out */
    for (int i = 0; i < 120; i++)
        steps[n++] = (struct step){STEP_BYTES, "1.5,0.25\n", 0, 20};
    steps[n++] = (struct step){STEP_BYTES, "2.5,0.25\n", 0, 7000};
    steps[n++] = (struct step){STEP_WAKE, NULL, 0, 0};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    run_options(run, &o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(run_script(run, &o, &s, &why), TM_OK);
    static char expected[8192];
    size_t at = (size_t)snprintf(expected, sizeof expected, "@0.000 -\n");
    for (int i = 0; i < 120; i++) {
        if (i == 50 || i == 100)
            at += (size_t)snprintf(expected + at, sizeof expected - at, "@%d.000 50\n", i / 50);
        at += (size_t)snprintf(expected + at, sizeof expected - at, "1.5,0.25\n");
    }
    (void)snprintf(expected + at, sizeof expected - at, "~ silence 7.000\n@9.380 20\n2.5,0.25\n.121\n");
    assert_string_equal(run->logged, expected);
    assert_string_equal(run->heard, "first_line silence data_again ");
}

/* Lines that arrive together stand where they arrived: close together, and rising. */
static void bursts_keep_their_arrival(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {{STEP_BYTES, "0,0\n1,1\n2,2\n3,3\n", 0, 0},
                                 {STEP_BYTES, "4,4\n5,5\n", 0, 60},
                                 {STEP_WAKE, NULL, 0, 0}};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    run_options(run, &o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(run_script(run, &o, &s, &why), TM_OK);
    assert_string_equal(run->logged, "@0.000 -\n1,1\n+1,2,2\n+1,3,3\n4,4\n5,5\n.5\n");
}

static void a_wrong_rate_is_said(void **state)
{
    struct run *run = *state;
    static struct step steps[1700];
    size_t n = 0;
    for (int i = 0; i < 1600; i++)
        steps[n++] = (struct step){STEP_BYTES, "1.5,0.25\n", 0, 10}; /* 100 Hz, 50 declared */
    steps[n++] = (struct step){STEP_WAKE, NULL, 0, 0};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    run_options(run, &o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(run_script(run, &o, &s, &why), TM_OK);
    assert_string_equal(run->heard, "first_line rate_differs ");
}

static void without_a_head_nothing_is_guessed(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {{STEP_BYTES, "1,2\n1,2\n1,2\n", 0, 0}, {STEP_BYTES, "1,2\n", 0, 60000},
                                 {STEP_BYTES, "1,2\n", 0, 60000}, {STEP_WAKE, NULL, 0, 0}};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    run_options(run, &o, &s);
    enum recorder_end why;
    assert_int_equal(run_script(run, &o, &s, &why), TM_ERR_INPUT);
    assert_int_equal(access(run->path, F_OK), -1); /* and no file that looks like a recording */
    assert_non_null(strstr(run->heard, "no_head"));
}

static void nothing_at_all_is_no_recording(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {{STEP_QUIET, NULL, 0, 12000}, {STEP_WAKE, NULL, 0, 0}};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    run_options(run, &o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(run_script(run, &o, &s, &why), TM_ERR_INPUT);
    assert_int_equal(access(run->path, F_OK), -1);
    assert_string_equal(run->heard, "silence ");
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, run_setup, run_teardown)
    const struct CMUnitTest tests[] = {
        T(arrival_times_where_the_source_has_none),
        T(bursts_keep_their_arrival),
        T(a_wrong_rate_is_said),
        T(without_a_head_nothing_is_guessed),
        T(nothing_at_all_is_no_recording),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
