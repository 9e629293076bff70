/* How far the work has come: one line on stderr, only on a terminal, after the first second, at most 4 a second. */
#ifndef TIDEMARK_PROGRAM_PROGRESS_H
#define TIDEMARK_PROGRAM_PROGRESS_H

#include "ingest/sample.h"

struct progress {
    bool on, drawn;
    unsigned ticks;
    long long next_ms;
};

void progress_begin(struct progress *p);
void progress_tick(struct progress *p, const struct item *it);
void progress_clear(struct progress *p);

#endif
