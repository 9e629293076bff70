/* The simulated patients that the scorer judges on: each made from its number alone, by the simulator.
 *
 * Judging patients and tuning patients have different seeds: whoever moves a threshold looks at the tuning ones only. */
#ifndef TIDEMARK_TESTS_ACCURACY_PATIENTS_H
#define TIDEMARK_TESTS_ACCURACY_PATIENTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fixtures/sim/case.h"
#include "ingest/notice.h"

#define JUDGED_PATIENTS 100 /* clean and ordinary; the bars are theirs */
#define BESIDE_PATIENTS 24  /* heavy noise, 25 Hz, sensor errors: printed beside, without a bar */
#define JUDGING_SEED UINT64_C(710000)
#define TUNING_SEED UINT64_C(40000)
#define PATIENT_SECONDS 600
#define WARDS 6

struct patient {
    size_t number;
    uint64_t seed;
    enum stratum stratum;
    int ward;           /* what the simulator makes of its number: control and effort */
    const char *rate;   /* as in a script: "100", "1000/3" */
    double rate_hz;
    bool judged;        /* bars apply */
    bool sensor_errors; /* gain and zero off */
    bool heart;         /* it moves gas; known once the recording is made */
};

/* Patient `number` (0-based; from JUDGED_PATIENTS on: beside) of the series that starts at base_seed. */
void patient_make(struct patient *p, size_t number, uint64_t base_seed);
/* Simulates it: PREFIX.log.gz and PREFIX.truth/. */
int patient_simulate(const struct patient *p, const char *prefix, struct err *e) MUST_USE;
const char *stratum_name(enum stratum s);
const char *ward_name(int ward);

#endif
