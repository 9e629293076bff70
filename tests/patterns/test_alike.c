/* What a finding beside a breath does to its flags: withheld, or possible at most, and the evidence says why. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "analyze/patterns/acts.h"
#include "analyze/patterns/alike.h"

/* A definite flag of pattern p on an effort of 6 cmH2O, in a breath with these findings and a heart's bump of so much. */
static struct pattern_verdict flagged(enum pattern_id p, unsigned alike, double heart_cmh2o, bool hiccup) {
    struct breath_row row = {.number = 1};
    struct muscle muscle = {.read = true, .heart_cmh2o = heart_cmh2o};
    struct effort effort = {.peak_cmh2o = 6, .sd_cmh2o = 0.5, .hiccup = hiccup};
    struct pattern_window w = {.n = 1, .own = 0, .time_scale = 1, .flow_scale = 1, .rate_hz = 100};
    struct pattern_verdict v = {.confidence = CONF_DEFINITE};
    w.at[0] = (struct pattern_breath){.row = &row, .muscle = &muscle, .alike = (uint8_t)alike, .hr_per_min = 80};
    acts_evidence(&v, &effort);
    alike_weigh(&w, p, &v);
    return v;
}

static const char *word(const struct pattern_verdict *v, const char *key) {
    for (int i = 0; i < v->n; i++) {
        if (strcmp(v->evidence[i].key, key) == 0) {
            return v->evidence[i].text ? v->evidence[i].text : "number";
        }
    }
    return "";
}

static void check(enum pattern_id p, unsigned alike, double heart, bool hiccup, enum confidence want, enum reason why, const char *says) {
    struct pattern_verdict v = flagged(p, alike, heart, hiccup);
    assert_int_equal(v.confidence, want);
    assert_int_equal(v.unjudged, why);
    assert_string_equal(word(&v, "alike"), says);
}

static void weighed(void **state) {
    (void)state;
    const enum pattern_id ie = PATTERN_ineffective_effort, late = PATTERN_late_cycling, over = PATTERN_pressure_overshoot;
    check(ie, 0, 1, false, CONF_DEFINITE, WHY_NONE, "");
    check(ie, ALIKE_COUGH, 1, false, CONF_NONE, WHY_artefact, "");
    check(over, ALIKE_COUGH, 1, false, CONF_NONE, WHY_artefact, "");
    check(ie, ALIKE_SECRETIONS, 1, false, CONF_POSSIBLE, WHY_NONE, "secretions");
    check(late, ALIKE_SECRETIONS, 1, false, CONF_POSSIBLE, WHY_NONE, "secretions");
    check(over, ALIKE_SECRETIONS, 1, false, CONF_DEFINITE, WHY_NONE, "");
    check(over, ALIKE_CONDENSATE, 1, false, CONF_POSSIBLE, WHY_NONE, "condensate");
    check(PATTERN_incomplete_exhalation, ALIKE_CONDENSATE, 1, false, CONF_DEFINITE, WHY_NONE, "");
    check(PATTERN_incomplete_exhalation, ALIKE_ADDED_GAS, 1, false, CONF_NONE, WHY_added_flow, "");
    check(ie, ALIKE_ADDED_GAS, 1, false, CONF_DEFINITE, WHY_NONE, "");
    check(ie, ALIKE_HEART, 2.5, false, CONF_POSSIBLE, WHY_NONE, "heart"); /* 6 of 7.5: three bumps */
    check(ie, ALIKE_HEART, 1.5, false, CONF_DEFINITE, WHY_NONE, "");
    check(late, ALIKE_HEART, 2.5, false, CONF_DEFINITE, WHY_NONE, "");
    check(ie, 0, 1, true, CONF_POSSIBLE, WHY_NONE, "hiccup");
}

static void rate_told(void **state) {
    (void)state;
    struct pattern_verdict v = flagged(PATTERN_ineffective_effort, ALIKE_HEART, 1, false);
    assert_string_equal(word(&v, "hr_per_min"), "number");
    v = flagged(PATTERN_ineffective_effort, 0, 1, false);
    assert_string_equal(word(&v, "hr_per_min"), "");
    v = flagged(PATTERN_late_cycling, ALIKE_HEART, 1, false);
    assert_string_equal(word(&v, "hr_per_min"), "");
}

/* What was not judged for another reason keeps that reason; absent stays absent, but not in a cough. */
static void nothing_to_weigh(void **state) {
    (void)state;
    struct breath_row row = {.number = 1};
    struct muscle muscle = {.read = true};
    struct pattern_window w = {.n = 1, .own = 0};
    w.at[0] = (struct pattern_breath){.row = &row, .muscle = &muscle, .alike = ALIKE_COUGH};
    struct pattern_verdict v = {.unjudged = WHY_gap};
    alike_weigh(&w, PATTERN_late_cycling, &v);
    assert_int_equal(v.unjudged, WHY_gap);
    v = (struct pattern_verdict){.confidence = CONF_NONE};
    alike_weigh(&w, PATTERN_late_cycling, &v);
    assert_int_equal(v.unjudged, WHY_artefact);
    w.at[0].alike = ALIKE_SECRETIONS;
    v = (struct pattern_verdict){.confidence = CONF_NONE};
    alike_weigh(&w, PATTERN_late_cycling, &v);
    assert_true(v.unjudged == WHY_NONE && v.confidence == CONF_NONE && v.n == 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(weighed), cmocka_unit_test(rate_told), cmocka_unit_test(nothing_to_weigh)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
