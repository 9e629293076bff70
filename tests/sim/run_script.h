/* Runs a script in memory: what tests of the simulator start from. */
#ifndef TIDEMARK_TESTS_SIM_RUN_SCRIPT_H
#define TIDEMARK_TESTS_SIM_RUN_SCRIPT_H

#include "fixtures/sim/sim.h"

#define RUN_SAMPLES 200000

struct run {
    struct script script;
    struct sim sim;
    size_t n, gaps;
    double t_s[RUN_SAMPLES], p[RUN_SAMPLES], q[RUN_SAMPLES];
    double gap_from_s, gap_to_s;
};

/* Asserts that the script can be read and run. Free with run_free. */
struct run *run_script(const char *text);
void run_free(struct run *r);
/* The last breath that is whole. */
const struct true_breath *run_last(const struct run *r);
/* The i-th event of this name from the first on (0); NULL: there are not so many. */
const struct true_event *run_event(const struct run *r, const char *name, size_t i);
/* A number among an event's values; NAN where it has none of this name. */
double run_value(const struct true_event *e, const char *key);
size_t run_count(const struct run *r, const char *kind);

#endif
