/* How bars are added: between the files that judge. */
#ifndef TIDEMARK_TESTS_ACCURACY_BARS_INTERNAL_H
#define TIDEMARK_TESTS_ACCURACY_BARS_INTERNAL_H

#include "tests/accuracy/bars.h"

struct bars {
    struct bar *v;
    size_t n;
};

/* stratum "": none is named. */
struct bar *bar_add(struct bars *b, const char *stratum, const char *what, double measured, double limit, bool at_least,
                    int decimals);
/* x of n, in %, with Wilson's interval; NAN, and so missed, of none. */
void bar_add_share(struct bars *b, const char *stratum, const char *what, size_t x, size_t n, double limit, bool at_least,
                   int decimals);
/* Holds and auto-PEEP. 0, or -1 out of memory. */
int bars_static(struct bars *b, const struct records *r, const struct patient *patients);
/* Work, power, stress index. 0, or -1 out of memory. */
int bars_work(struct bars *b, const struct records *r, const struct patient *patients);
/* Patterns, clean and ordinary strata together. 0, or -1 out of memory. */
int bars_patterns(struct bars *b, const struct records *r, const struct patient *patients);
/* Efforts, all strata together; false ones in ordinary patients without any. 0, or -1 out of memory. */
int bars_efforts(struct bars *b, const struct records *r);

/* Asynchrony indices by recording. 0, or -1 out of memory. */
int bars_burden(struct bars *b, const struct records *r, const struct patient *patients);

#endif
