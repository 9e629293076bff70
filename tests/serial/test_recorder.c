/* The recorder and a source that sends a head and time lines: what stands in the log, line by line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "ingest/log/line.h"
#include "tests/serial/run_script.h"

#define HEAD "%tidemark 1\n%channel paw unit=cm[H2O] decimals=2\n%channel flow unit=L/s decimals=3\n%rate 50/1\n"

static void run_steps(struct run *run, const struct step *steps, enum recorder_end expected)
{
    struct script s = {.steps = steps};
    struct recorder_opts o;
    run_options(run, &o, &s);
    enum recorder_end why = RECORDER_FAULT;
    assert_int_equal(run_script(run, &o, &s, &why), TM_OK);
    assert_int_equal(why, expected);
    assert_int_equal(s.opened, 1);
    assert_int_equal(s.closed, 1);
}

static void a_source_with_a_clock_keeps_its_times(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.5 -\n1.00,0.100\n2.00,0.200\n+30000,3.00,0.300\n,0.400\n", 0, 0},
        {STEP_BYTES, "@8.5 4\n5.25,-0.5\n", 0, 1000},
        {STEP_WAKE, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_ASKED);
    assert_string_equal(run->logged, "@7.500 -\n1.00,0.100\n2.00,0.200\n+30000,3.00,0.300\n,0.400\n"
                                "@8.500 4\n5.25,-0.500\n.5\n");
    assert_string_equal(run->heard, "");
}

/* Checksums of these lines by the same catalogue's algorithm, which test_assemble.c checks; the line that
 * fails has a value changed. */
static void a_failed_checksum_keeps_its_place(void **state)
{
    struct run *run = *state;
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
    run_steps(run, steps, RECORDER_INPUT);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n,\n3.00,0.300\n@8.000 3\n4.00,0.400\n.4\n");
    assert_string_equal(run->heard, "bad_crc ");
}

static void junk_costs_its_line_and_keeps_its_place(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n2.0\x80\xff,0.2\n3.00,0.300\n4.00\n5.00,0.5,9\nnoise\n@8.0 6\n7.00,0.700\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n,\n3.00,0.300\n,\n,\n,\n@8.000 6\n7.00,0.700\n.7\n");
    assert_string_equal(run->heard, "bad_line bad_line bad_line bad_line ");
}

/* A lost line would shift those after it: the second becomes a gap. */
static void a_wrong_count_is_a_gap(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n@8.0 1\n2.00,0.200\n3.00,0.300\n@9.0 3\n4.00,0.400\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n~ bad_count 2.000\n@9.000 1\n4.00,0.400\n.2\n");
    assert_string_equal(run->heard, "bad_count ");
}

/* A damaged time line takes its count with it; what it would have counted can't be held against the next. */
static void a_lost_time_line_is_no_wrong_count(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n@8.x 1\n2.00,0.200\n@9.0 1\n3.00,0.300\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n2.00,0.200\n@9.000 2\n3.00,0.300\n.3\n");
    assert_string_equal(run->heard, "bad_line ");
}

/* With a step of its own lost, no time until the next time line is known. */
static void a_lost_step_is_a_gap(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n+3x,2.00,0.200\n3.00,0.300\n@8.0 3\n4.00,0.400\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n~ damaged 1.000\n@8.000 1\n4.00,0.400\n.2\n");
}

static void a_pulled_cable_is_a_gap_and_a_good_end(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {{STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n2.00,0.200\n3.0", 0, 0}, {STEP_GONE, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_GONE);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n2.00,0.200\n~ cable-out\n.2\n");
    assert_string_equal(run->heard, "cable_out ");
}

static void a_read_error_is_a_gap_and_a_good_end(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {{STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n", 0, 0}, {STEP_ERR, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_FAULT);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n~ read-error\n.1\n");
}

static void a_clock_that_is_set_back_says_so(void **state)
{
    struct run *run = *state;
    const struct step told[] = {
        {STEP_BYTES, HEAD "@100.0 -\n1.00,0.100\n", 0, 0},
        {STEP_BYTES, "^ reset -90\n@11.0 1\n2.00,0.200\n", 0, 1000},
        {STEP_END, NULL, 0, 0}};
    run_steps(run, told, RECORDER_INPUT);
    assert_string_equal(run->logged, "@100.000 -\n1.00,0.100\n^ reset -90.000\n@11.000 1\n2.00,0.200\n.2\n");
    assert_string_equal(run->heard, "");
}

/* Without a word: the step is what the clock here says it must have been, 1 s having gone by. */
static void a_clock_that_falls_untold_is_found_out(void **state)
{
    struct run *run = *state;
    const struct step untold[] = {
        {STEP_BYTES, HEAD "@100.0 -\n1.00,0.100\n", 0, 0},
        {STEP_BYTES, "@5.0 1\n2.00,0.200\n", 0, 1000},
        {STEP_END, NULL, 0, 0}};
    run_steps(run, untold, RECORDER_INPUT);
    assert_string_equal(run->logged, "@100.000 -\n1.00,0.100\n^ step -96.000\n@5.000 1\n2.00,0.200\n.2\n");
    assert_string_equal(run->heard, "time_back ");
}

static void marks_and_gaps_of_the_source_are_kept(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n@8.0 1\n!7.5 - suction side=left\n2.00,0.200\n~ cable-out 2.5\n@10.52 1\n3.00,0.3\n", 0, 0},
        {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    assert_string_equal(run->logged, "@7.000 -\n1.00,0.100\n!7.500 - suction side=left\n@8.000 1\n2.00,0.200\n"
                                "~ cable-out 2.500\n@10.520 1\n3.00,0.300\n.3\n");
}

/* Samples of the first second wait for their time line, and a mark among them waits with them; words that are
 * encoded on the wire (docs/log-format.md) stay the same words. */
static void an_early_mark_and_encoded_words_stay(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {{STEP_BYTES,
                                  HEAD "@7.0 -\n1.00,0.100\n!7.01 - hold%3B1 side=left\n2.00,0.200\n@8.0 2\n~ lost%3Bx 2.5\n"
                                       "@10.52 0\n3.00,0.3\n",
                                  0, 0},
                                 {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    assert_non_null(strstr(run->logged, "!7.010 - hold%3B1 side=left\n"));
    assert_non_null(strstr(run->logged, "~ lost%3Bx 2.5"));
    assert_null(strstr(run->logged, "%25"));
}

/* The same bytes in any pieces, with the clock standing still, give the same log. */
static void any_split_gives_the_same_log(void **state)
{
    struct run *run = *state;
    static char wire[40000], first[sizeof run->logged];
    size_t n = (size_t)snprintf(wire, sizeof wire, "%s", HEAD);
    for (int second = 0; second < 20; second++) {
        n += (size_t)snprintf(wire + n, sizeof wire - n, "@%d.000 %s\n", 100 + second, second ? "50" : "-");
        for (int i = 0; i < 50; i++)
            n += (size_t)snprintf(wire + n, sizeof wire - n, i % 17 == 3 ? "%d.#2,0.1\n" : "%d.25,0.5\n", i);
    }
    for (size_t piece = 0; piece < 9; piece++) {
        const struct step steps[] = {{piece ? STEP_SHORT : STEP_BYTES, wire, piece ? piece * piece : 0, 0},
                                     {STEP_END, NULL, 0, 0}};
        run_steps(run, steps, RECORDER_INPUT);
        assert_non_null(strstr(run->logged, ".1000\n"));
        if (piece == 0)
            memcpy(first, run->logged, sizeof first);
        else
            assert_string_equal(run->logged, first);
        assert_int_equal(unlink(run->path), 0);
    }
}

/* Decimals grow rather than lose a digit. */
static void no_digit_is_lost(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {
        {STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n1.2345,0.100\n1.00,0.1\n", 0, 0}, {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    assert_non_null(strstr(run->logged, "1.2345,0.100\n"));
}

static void time_lines_carry_the_host_clocks(void **state)
{
    struct run *run = *state;
    const struct step steps[] = {{STEP_BYTES, HEAD "@7.0 -\n1.00,0.100\n", 0, 250}, {STEP_END, NULL, 0, 0}};
    run_steps(run, steps, RECORDER_INPUT);
    FILE *f = fopen(run->path, "r");
    assert_non_null(f);
    char text[2048];
    text[fread(text, 1, sizeof text - 1, f)] = '\0';
    assert_int_equal(fclose(f), 0);
    assert_non_null(strstr(text, "\n@7.000 - 2026-03-04T22:30:00.250000Z 1000.250\n"));
    assert_non_null(strstr(text, "\n%start 2026-03-04T22:30:00.250000Z\n"));
}

int main(void)
{
#define T(f) cmocka_unit_test_setup_teardown(f, run_setup, run_teardown)
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
        T(an_early_mark_and_encoded_words_stay),
        T(any_split_gives_the_same_log),
        T(no_digit_is_lost),
        T(time_lines_carry_the_host_clocks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
