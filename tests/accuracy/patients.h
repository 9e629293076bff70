/* The patients that the scorer judges on, each made from its number alone, by one of two generators that share no code:
 * the simulator (fixtures/sim), on whose tuning series a threshold may be moved, and the judge (fixtures/judge), on which
 * none ever is.
 *
 * What a patient is like is read from the patient.json that its generator writes (fixtures/truth-files.md). */
#ifndef TIDEMARK_TESTS_ACCURACY_PATIENTS_H
#define TIDEMARK_TESTS_ACCURACY_PATIENTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "ingest/sample.h"

/* Judge: the judge's patients. Quiet: its recordings with hardly a breath in them. */
enum series { SERIES_JUDGE, SERIES_QUIET, SERIES_SIM, SERIES_TUNING, SERIES_N };

#define JUDGE_PATIENTS 240 /* tests/judge holds both to the judge's own */
#define JUDGE_QUIETS   4
#define SIM_PATIENTS   144
#define SIM_SEED      UINT64_C(710000)
#define TUNING_SEED   UINT64_C(40000)
#define SIM_SECONDS   "600"

enum stratum_of { CLEAN, ORDINARY, HEAVY, STRATA };

struct patient {
    size_t index;  /* in the array that is judged */
    size_t number; /* in its series, from 0 */
    enum series series;
    enum stratum_of stratum;
    char size[12], lung[16], ward[48], rate[16];
    double rate_hz, seconds;
    int troubles;
    bool exact_sensor, heart, two_level;
};

const char *series_name(enum series s);
size_t series_count(enum series s);
const char *stratum_word(enum stratum_of s);

void patient_make(struct patient *p, size_t index, enum series series, size_t number);
/* The command that simulates it, PREFIX.log.gz and PREFIX.truth/; argv[0] is a name to be looked for beside the caller's
 * other tools. */
struct generator {
    const char *argv[16];
    char number[24];
};
void patient_generator(const struct patient *p, const char *prefix, struct generator *g);
/* Reads what it is like from FOLDER/patient.json. 0, or -1 with the reason on stderr. */
int patient_read(struct patient *p, const char *folder) MUST_USE;

#endif
