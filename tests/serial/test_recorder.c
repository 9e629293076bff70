/* The recorder on a scripted port and a clock that only the script moves: what stands in the log, line by line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "ingest/log/line.h"
#include "ingest/serial/recorder.h"
#include "tests/serial/script.h"

#define HEAD "%tidemark 1\n%channel paw unit=cm[H2O] decimals=2\n%channel flow unit=L/s decimals=3\n%rate 50/1\n"

static char folder[64], path[96], heard[8192], logged[1u << 20];

static int setup(void **state)
{
    (void)state;
    heard[0] = '\0';
    (void)snprintf(folder, sizeof folder, "/tmp/tidemark-recorder-XXXXXX");
    if (!mkdtemp(folder))
        return -1;
    (void)snprintf(path, sizeof path, "%s/night.log", folder);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    (void)unlink(path);
    return rmdir(folder);
}

static void hear(void *user, const struct notice *n)
{
    (void)user;
    const size_t at = strlen(heard);
    (void)snprintf(heard + at, sizeof heard - at, "%s ", n->code);
}

static int64_t script_now(void *user)
{
    return ((struct script *)user)->now_ns;
}

/* 2026-03-04T22:30:00Z, where the script's clock reads 1000 s. */
static int64_t script_wall(void *user)
{
    return INT64_C(1772663400) * NS_PER_S + ((struct script *)user)->now_ns - 1000 * NS_PER_S;
}

static void options(struct recorder_opts *o, struct script *s)
{
    recorder_opts_defaults(o);
    o->path = path;
    o->plain = true;
    o->time = (struct recorder_time){script_now, script_wall, s};
    s->now_ns = 1000 * NS_PER_S;
}

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

/* Runs the script to its end; the log's lines without the head are then in `logged`. */
static int record(const struct recorder_opts *o, struct script *s, enum recorder_end *why)
{
    struct recorder *r = NULL;
    struct port *port = NULL;
    struct port_opts po;
    struct err e;
    port_opts_defaults(&po);
    assert_int_equal(recorder_new(&r, o, &(struct notice_sink){hear, NULL}, &e), TM_OK);
    assert_int_equal(port_open(&port, script_ops(s), "script", &po, &e), TM_OK);
    const int rc = recorder_run(r, port, -1, NULL, NULL, why, &e);
    port_close(port);
    recorder_free(r);
    logged[0] = '\0';
    FILE *f = fopen(path, "r");
    if (!f)
        return rc;
    size_t n = 0;
    char line[2048];
    while (fgets(line, sizeof line, f)) {
        if (line[0] == '%')
            continue;
        /* The host's times on time lines are looked at in a test of their own. */
        char *space = line[0] == '@' ? strchr(strchr(line, ' ') + 1, ' ') : NULL;
        if (space)
            memcpy(space, "\n", 2);
        n += (size_t)snprintf(logged + n, sizeof logged - n, "%s", line);
    }
    assert_int_equal(fclose(f), 0);
    return rc;
}

static void run_steps(const struct step *steps, enum recorder_end expected)
{
    struct script s = {.steps = steps};
    struct recorder_opts o;
    options(&o, &s);
    enum recorder_end why = RECORDER_FAULT;
    assert_int_equal(record(&o, &s, &why), TM_OK);
    assert_int_equal(why, expected);
    assert_int_equal(s.opened, 1);
    assert_int_equal(s.closed, 1);
}

static void a_source_with_a_clock_keeps_its_times(void **state)
{
    (void)state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.5 -\n1.00,0.100\n2.00,0.200\n+30000,3.00,0.300\n,0.400\n", 0, 0},
        {STEP_BYTES, "@8.5 4\n5.25,-0.5\n", 0, 1000},
        {STEP_WAKE, NULL, 0, 0}};
    run_steps(steps, RECORDER_ASKED);
    assert_string_equal(logged, "@7.500 -\n1.00,0.100\n2.00,0.200\n+30000,3.00,0.300\n,0.400\n"
                                "@8.500 4\n5.25,-0.500\n.5\n");
    assert_string_equal(heard, "");
}

/* Checksums of these lines by the same catalogue's algorithm, which test_assemble.c checks; the line that
 * fails has a value changed. */
static void a_failed_checksum_keeps_its_place(void **state)
{
    (void)state;
    char wire[512] = HEAD "@7.0 -\n";
    char line[64];
    static const char *const values[] = {"1.00,0.100", "2.00,0.200", "3.00,0.300"};
    for (int i = 0; i < 3; i++) {
        (void)snprintf(line, sizeof line, "%s", values[i]);
        size_t n = line_add_crc(line, strlen(values[i]));
        line[n] = '\n';
        line[n + 1] = '\0';
        if (i == 1)
            line[0] = '9';
        (void)strncat(wire, line, sizeof wire - strlen(wire) - 1);
    }
    (void)strncat(wire, "@8.0 3\n4.00,0.400\n", sizeof wire - strlen(wire) - 1);
    const struct step steps[] = {{STEP_BYTES, wire, 0, 0}, {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n,\n3.00,0.300\n@8.000 3\n4.00,0.400\n.4\n");
    assert_string_equal(heard, "bad_crc ");
}

static void junk_costs_its_line_and_keeps_its_place(void **state)
{
    (void)state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n2.0\x80\xff,0.2\n3.00,0.300\n4.00\n5.00,0.5,9\nnoise\n@8.0 6\n7.00,0.700\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n,\n3.00,0.300\n,\n,\n,\n@8.000 6\n7.00,0.700\n.7\n");
    assert_string_equal(heard, "bad_line bad_line bad_line bad_line ");
}

/* A lost line would shift those after it: the second becomes a gap. */
static void a_wrong_count_is_a_gap(void **state)
{
    (void)state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n@8.0 1\n2.00,0.200\n3.00,0.300\n@9.0 3\n4.00,0.400\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n~ bad_count 2.000\n@9.000 1\n4.00,0.400\n.2\n");
    assert_string_equal(heard, "bad_count ");
}

/* A damaged time line takes its count with it; what it would have counted can't be held against the next. */
static void a_lost_time_line_is_no_wrong_count(void **state)
{
    (void)state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n@8.x 1\n2.00,0.200\n@9.0 1\n3.00,0.300\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n2.00,0.200\n@9.000 2\n3.00,0.300\n.3\n");
    assert_string_equal(heard, "bad_line ");
}

/* With a step of its own lost, no time until the next time line is known. */
static void a_lost_step_is_a_gap(void **state)
{
    (void)state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n+3x,2.00,0.200\n3.00,0.300\n@8.0 3\n4.00,0.400\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n~ damaged 1.000\n@8.000 1\n4.00,0.400\n.2\n");
}

static void a_pulled_cable_is_a_gap_and_a_good_end(void **state)
{
    (void)state;
    const struct step steps[] = {{STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n2.00,0.200\n3.0", 0, 0}, {STEP_GONE, NULL, 0, 0}};
    run_steps(steps, RECORDER_GONE);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n2.00,0.200\n~ cable-out\n.2\n");
    assert_string_equal(heard, "cable_out ");
}

static void a_read_error_is_a_gap_and_a_good_end(void **state)
{
    (void)state;
    const struct step steps[] = {{STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n", 0, 0}, {STEP_ERR, NULL, 0, 0}};
    run_steps(steps, RECORDER_FAULT);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n~ read-error\n.1\n");
}

static void a_clock_that_is_set_back_says_so(void **state)
{
    (void)state;
    const struct step told[] = {
        {STEP_BYTES, HEAD "@100.0 -\n1.00,0.100\n", 0, 0},
        {STEP_BYTES, "^ reset -90\n@11.0 1\n2.00,0.200\n", 0, 1000},
        {STEP_END, NULL, 0, 0}};
    run_steps(told, RECORDER_INPUT);
    assert_string_equal(logged, "@100.000 -\n1.00,0.100\n^ reset -90.000\n@11.000 1\n2.00,0.200\n.2\n");
    assert_string_equal(heard, "");
}

/* Without a word: the step is what the clock here says it must have been, 1 s having gone by. */
static void a_clock_that_falls_untold_is_found_out(void **state)
{
    (void)state;
    const struct step untold[] = {
        {STEP_BYTES, HEAD "@100.0 -\n1.00,0.100\n", 0, 0},
        {STEP_BYTES, "@5.0 1\n2.00,0.200\n", 0, 1000},
        {STEP_END, NULL, 0, 0}};
    run_steps(untold, RECORDER_INPUT);
    assert_string_equal(logged, "@100.000 -\n1.00,0.100\n^ step -96.000\n@5.000 1\n2.00,0.200\n.2\n");
    assert_string_equal(heard, "time_back ");
}

static void marks_and_gaps_of_the_source_are_kept(void **state)
{
    (void)state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n@8.0 1\n!7.5 - suction side=left\n2.00,0.200\n~ cable-out 2.5\n@10.52 1\n3.00,0.3\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    assert_string_equal(logged, "@7.000 -\n1.00,0.100\n!7.500 - suction side=left\n@8.000 1\n2.00,0.200\n"
                                "~ cable-out 2.500\n@10.520 1\n3.00,0.300\n.3\n");
}

static void arrival_times_where_the_source_has_none(void **state)
{
    (void)state;
    struct step steps[200];
    size_t n = 0;
    steps[n++] = (struct step){STEP_BYTES, "9,9\n", 0, 0}; /* may be cut: left out */
    for (int i = 0; i < 120; i++)
        steps[n++] = (struct step){STEP_BYTES, "1.5,0.25\n", 0, 20};
    steps[n++] = (struct step){STEP_BYTES, "2.5,0.25\n", 0, 7000};
    steps[n++] = (struct step){STEP_WAKE, NULL, 0, 0};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    options(&o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(record(&o, &s, &why), TM_OK);
    static char expected[8192];
    size_t at = (size_t)snprintf(expected, sizeof expected, "@0.000 -\n");
    for (int i = 0; i < 120; i++) {
        if (i == 50 || i == 100)
            at += (size_t)snprintf(expected + at, sizeof expected - at, "@%d.000 50\n", i / 50);
        at += (size_t)snprintf(expected + at, sizeof expected - at, "1.5,0.25\n");
    }
    (void)snprintf(expected + at, sizeof expected - at, "~ silence 7.000\n@9.380 20\n2.5,0.25\n.121\n");
    assert_string_equal(logged, expected);
    assert_string_equal(heard, "first_line silence data_again ");
}

/* Lines that arrive together stand where they arrived: close together, and rising. */
static void bursts_keep_their_arrival(void **state)
{
    (void)state;
    const struct step steps[] = {{STEP_BYTES, "0,0\n1,1\n2,2\n3,3\n", 0, 0},
                                 {STEP_BYTES, "4,4\n5,5\n", 0, 60},
                                 {STEP_WAKE, NULL, 0, 0}};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    options(&o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(record(&o, &s, &why), TM_OK);
    assert_string_equal(logged, "@0.000 -\n1,1\n+1,2,2\n+1,3,3\n4,4\n5,5\n.5\n");
}

static void a_wrong_rate_is_said(void **state)
{
    (void)state;
    static struct step steps[1700];
    size_t n = 0;
    for (int i = 0; i < 1600; i++)
        steps[n++] = (struct step){STEP_BYTES, "1.5,0.25\n", 0, 10}; /* 100 Hz, 50 declared */
    steps[n++] = (struct step){STEP_WAKE, NULL, 0, 0};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    options(&o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(record(&o, &s, &why), TM_OK);
    assert_string_equal(heard, "first_line rate_differs ");
}

static void without_a_head_nothing_is_guessed(void **state)
{
    (void)state;
    const struct step steps[] = {{STEP_BYTES, "1,2\n1,2\n1,2\n", 0, 0}, {STEP_BYTES, "1,2\n", 0, 60000},
                                 {STEP_BYTES, "1,2\n", 0, 60000}, {STEP_WAKE, NULL, 0, 0}};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    options(&o, &s);
    enum recorder_end why;
    assert_int_equal(record(&o, &s, &why), TM_ERR_INPUT);
    assert_int_equal(access(path, F_OK), -1); /* and no file that looks like a recording */
    assert_non_null(strstr(heard, "no_head"));
}

static void nothing_at_all_is_no_recording(void **state)
{
    (void)state;
    const struct step steps[] = {{STEP_QUIET, NULL, 0, 12000}, {STEP_WAKE, NULL, 0, 0}};
    struct script s = {.steps = steps};
    struct recorder_opts o;
    options(&o, &s);
    bare_channels(&o);
    enum recorder_end why;
    assert_int_equal(record(&o, &s, &why), TM_ERR_INPUT);
    assert_int_equal(access(path, F_OK), -1);
    assert_string_equal(heard, "silence ");
}

/* The same bytes in any pieces, with the clock standing still, give the same log. */
static void any_split_gives_the_same_log(void **state)
{
    (void)state;
    static char wire[40000], first[sizeof logged];
    size_t n = (size_t)snprintf(wire, sizeof wire, "%s", HEAD);
    for (int second = 0; second < 20; second++) {
        n += (size_t)snprintf(wire + n, sizeof wire - n, "@%d.000 %s\n", 100 + second, second ? "50" : "-");
        for (int i = 0; i < 50; i++)
            n += (size_t)snprintf(wire + n, sizeof wire - n, i % 17 == 3 ? "%d.#2,0.1\n" : "%d.25,0.5\n", i);
    }
    for (size_t piece = 0; piece < 9; piece++) {
        const struct step steps[] = {{piece ? STEP_SHORT : STEP_BYTES, wire, piece ? piece * piece : 0, 0},
                                     {STEP_END, NULL, 0, 0}};
        run_steps(steps, RECORDER_INPUT);
        assert_non_null(strstr(logged, ".1000\n"));
        if (piece == 0)
            memcpy(first, logged, sizeof first);
        else
            assert_string_equal(logged, first);
        assert_int_equal(unlink(path), 0);
    }
}

/* Decimals grow rather than lose a digit. */
static void no_digit_is_lost(void **state)
{
    (void)state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n1.2345,0.100\n1.00,0.1\n", 0, 0}, {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    assert_non_null(strstr(logged, "1.2345,0.100\n"));
}

static void time_lines_carry_the_host_clocks(void **state)
{
    (void)state;
    const struct step steps[] = {{STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n", 0, 250}, {STEP_END, NULL, 0, 0}};
    run_steps(steps, RECORDER_INPUT);
    FILE *f = fopen(path, "r");
    assert_non_null(f);
    char text[2048];
    text[fread(text, 1, sizeof text - 1, f)] = '\0';
    assert_int_equal(fclose(f), 0);
    assert_non_null(strstr(text, "\n@7.000 - 2026-03-04T22:30:00.250000Z 1000.250\n"));
    assert_non_null(strstr(text, "\n%start 2026-03-04T22:30:00.250000Z\n"));
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, setup, teardown)
    const struct CMUnitTest tests[] = {
        T(a_source_with_a_clock_keeps_its_times),
        T(a_failed_checksum_keeps_its_place),
        T(junk_costs_its_line_and_keeps_its_place),
        T(a_wrong_count_is_a_gap),
        T(a_lost_time_line_is_no_wrong_count),
        T(a_lost_step_is_a_gap),
        T(a_pulled_cable_is_a_gap_and_a_good_end),
        T(a_read_error_is_a_gap_and_a_good_end),
        T(a_clock_that_is_set_back_says_so),
        T(a_clock_that_falls_untold_is_found_out),
        T(marks_and_gaps_of_the_source_are_kept),
        T(arrival_times_where_the_source_has_none),
        T(bursts_keep_their_arrival),
        T(a_wrong_rate_is_said),
        T(without_a_head_nothing_is_guessed),
        T(nothing_at_all_is_no_recording),
        T(any_split_gives_the_same_log),
        T(no_digit_is_lost),
        T(time_lines_carry_the_host_clocks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
