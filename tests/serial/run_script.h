/* Test help: the recorder on a scripted port and a clock that only the script moves. */
#ifndef TIDEMARK_TEST_RUN_SCRIPT_H
#define TIDEMARK_TEST_RUN_SCRIPT_H

#include "ingest/serial/recorder.h"
#include "tests/serial/script.h"

struct run {
    char folder[64], path[96];
    char heard[8192];       /* codes of the notices, each with a blank behind */
    char logged[1u << 20];  /* the log's lines without the head and without the host's times */
};

int run_setup(void **state); /* *state becomes a struct run */
int run_teardown(void **state);

/* Virtual clocks that begin at 1000 s and 2026-03-04T22:30:00Z; a plain log. */
void run_options(struct run *run, struct recorder_opts *o, struct script *s);

/* Runs the script to its end and reads the log back. */
int run_script(struct run *run, const struct recorder_opts *o, struct script *s, enum recorder_end *why);

#endif
