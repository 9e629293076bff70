/* Holds judged: how many are found, how many are said where there is none, and what is read in them. Values stand in events.csv
 * as name=value;... on both sides. */
#ifndef TIDEMARK_TESTS_ACCURACY_HOLDS_H
#define TIDEMARK_TESTS_ACCURACY_HOLDS_H

#include <stdio.h>

#include "tests/accuracy/stats.h"
#include "tests/accuracy/truth.h"

enum hold_value { HOLD_PPLAT, HOLD_CSTAT, HOLD_TOTAL, HOLD_AUTO, HOLD_VALUES };

struct holds {
    size_t of[HOLD_VALUES];            /* found holds in which truth has the value */
    struct numbers off[HOLD_VALUES];   /* found less true, of those given: cmH2O; compliance in % */
    double seconds;                    /* recorded in all */
};

/* Its name in the table, how it is called here, and within what it should be. */
const char *hold_value_title(enum hold_value v);
double hold_value_within(enum hold_value v);

/* A true hold and the found one that answers it. 0, or -1 out of memory. */
int holds_compare(struct holds *h, const struct event *truth, const struct event *found);
/* The number behind name= in "name=value;..."; NAN: not there. */
double event_number(const char *values, const char *name);
void holds_report(FILE *o, const struct holds *h);
void holds_free(struct holds *h);

#endif
