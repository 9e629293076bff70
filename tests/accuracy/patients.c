#include "tests/accuracy/patients.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fixtures/sim/run.h"

const char *stratum_name(enum stratum s)
{
    static const char *const names[] = {"clean", "ordinary", "heavy"};
    return names[s];
}

const char *ward_name(int ward)
{
    static const char *const names[WARDS] = {"volume control, passive",    "volume control, assisted",
                                             "pressure control, passive",  "pressure control, assisted",
                                             "pressure support",           "unassisted at CPAP"};
    return names[ward];
}

/* Every ward in both strata, every rate in all of these. */
void patient_make(struct patient *p, size_t number, uint64_t base_seed)
{
    static const char *const rates[] = {"100", "50", "200", "100", "1000/3"};
    static const double hz[] = {100, 50, 200, 100, 1000.0 / 3};
    memset(p, 0, sizeof *p);
    p->number = number;
    p->seed = base_seed + number;
    p->ward = (int)(p->seed % WARDS);
    p->judged = number < JUDGED_PATIENTS;
    p->stratum = number / WARDS % 2 ? STRATUM_ORDINARY : STRATUM_CLEAN;
    p->rate = rates[number % 5];
    p->rate_hz = hz[number % 5];
    if (!p->judged) {
        size_t beside = number - JUDGED_PATIENTS;
        bool slow = beside >= 12 && beside < 18;
        p->stratum = beside < 12 ? STRATUM_HEAVY : STRATUM_ORDINARY;
        p->sensor_errors = beside >= 18;
        p->rate = slow ? "25" : "100";
        p->rate_hz = slow ? 25 : 100;
    }
}

/* Sensors as they are met: gain of flow off by up to 8 %, of pressure by 3 %, zeros moved (common practice, no source). */
static void append_errors(char *text, size_t cap, uint64_t seed)
{
    static const double share[] = {-1, -0.6, -0.2, 0.3, 0.7, 1};
    double s = share[seed % 6];
    size_t n = strlen(text);
    snprintf(text + n, cap - n, "0 set gain_q=%.3f gain_p=%.3f offset_q=%.4f offset_p=%.2f\n", 1 + 0.08 * s, 1 - 0.03 * s,
             0.015 * s, -0.5 * s);
}

int patient_simulate(const struct patient *p, const char *prefix, struct err *e)
{
    struct run_opts opts = {.prefix = prefix, .log = true, .truth = true};
    char *made = case_patient(p->seed, p->stratum, PATIENT_SECONDS, p->rate);
    size_t cap = made ? strlen(made) + 256 : 0;
    char *text = made ? malloc(cap) : NULL;
    int rc = TM_ERR_MEMORY;
    if (text) {
        snprintf(text, cap, "%s", made);
        if (p->sensor_errors) {
            append_errors(text, cap, p->seed);
        }
        rc = run_case(text, "patient", &opts, e);
    } else {
        rc = err_set(e, rc, NULL, 0, NULL, "out of memory");
    }
    free(made);
    free(text);
    return rc;
}
