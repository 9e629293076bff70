#include "tests/accuracy/patients.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *series_name(enum series s)
{
    static const char *const names[SERIES_N] = {"judge", "quiet", "sim", "tuning"};
    return names[s];
}

size_t series_count(enum series s)
{
    return s == SERIES_JUDGE ? (size_t)JUDGE_PATIENTS : s == SERIES_QUIET ? (size_t)JUDGE_QUIETS : (size_t)SIM_PATIENTS;
}

const char *stratum_word(enum stratum_of s)
{
    static const char *const names[STRATA] = {"clean", "ordinary", "heavy"};
    return names[s];
}

void patient_make(struct patient *p, size_t index, enum series series, size_t number)
{
    memset(p, 0, sizeof *p);
    p->index = index;
    p->number = number;
    p->series = series;
}

/* The simulator's patients: strata take turns, four of ten at 100 Hz, the rest over all rates. */
static void sim_argv(const struct patient *p, const char *prefix, struct generator *g)
{
    static const char *const rates[] = {"100", "50", "200", "100", "1000/3", "100", "25", "100", "125", "125/2"};
    static const enum stratum_of strata[] = {CLEAN, ORDINARY, ORDINARY, HEAVY};
    uint64_t base = p->series == SERIES_SIM ? SIM_SEED : TUNING_SEED;
    snprintf(g->number, sizeof g->number, "%llu", (unsigned long long)(base + p->number));
    const char *argv[] = {"tidemark-sim", "patient", "--seed", g->number, "--stratum", stratum_word(strata[p->number / 6 % 4]),
                          "--seconds", SIM_SECONDS, "--rate", rates[p->number % 10], "--log", "-o", prefix, NULL};
    memcpy(g->argv, argv, sizeof argv);
}

static void judge_argv(const struct patient *p, const char *prefix, struct generator *g)
{
    snprintf(g->number, sizeof g->number, "%zu", p->number);
    const char *argv[] = {"tidemark-judge", p->series == SERIES_QUIET ? "quiet" : "patient", g->number, "-o", prefix, NULL};
    memcpy(g->argv, argv, sizeof argv);
}

void patient_generator(const struct patient *p, const char *prefix, struct generator *g)
{
    if (p->series == SERIES_JUDGE || p->series == SERIES_QUIET) {
        judge_argv(p, prefix, g);
    } else {
        sim_argv(p, prefix, g);
    }
}

static void word(char *out, size_t cap, const json_t *o, const char *key, const char *otherwise)
{
    const char *s = json_string_value(json_object_get(o, key));
    snprintf(out, cap, "%s", s ? s : otherwise);
}

int patient_read(struct patient *p, const char *folder)
{
    char path[1024], stratum[16];
    json_error_t why;
    snprintf(path, sizeof path, "%s/patient.json", folder);
    json_t *o = json_load_file(path, 0, &why);
    if (!o) {
        fprintf(stderr, "%s: %s\n", path, why.text);
        return -1;
    }
    word(stratum, sizeof stratum, o, "stratum", "");
    word(p->size, sizeof p->size, o, "size", "adult");
    word(p->lung, sizeof p->lung, o, "lung", "ordinary");
    word(p->ward, sizeof p->ward, o, "ward", "");
    p->rate_hz = json_number_value(json_object_get(o, "rate_hz"));
    p->seconds = json_number_value(json_object_get(o, "samples")) / p->rate_hz;
    snprintf(p->rate, sizeof p->rate, "%g Hz", p->rate_hz);
    p->troubles = (int)json_array_size(json_object_get(o, "troubles"));
    p->exact_sensor = !json_is_false(json_object_get(o, "exact_sensor"));
    p->two_level = strstr(p->ward, "two-level") != NULL;
    int known = 0;
    for (int s = 0; s < STRATA; s++) {
        if (strcmp(stratum, stratum_word((enum stratum_of)s)) == 0) {
            p->stratum = (enum stratum_of)s;
            known = 1;
        }
    }
    json_decref(o);
    if (!known || !(p->rate_hz > 0)) {
        fprintf(stderr, "%s: no stratum or rate\n", path);
        return -1;
    }
    return 0;
}
