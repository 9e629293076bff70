#include "tests/manoeuvres/script_samples.h"

#include <stdlib.h>

#include "tests/sim/run_script.h"

struct script_samples *script_samples(const char *text) {
    struct script_samples *s = malloc(sizeof *s);
    if (!s) {
        abort();
    }
    struct run *r = run_script(text);
    *s = (struct script_samples){r->n, r->p, r->q, r};
    return s;
}

void script_samples_free(struct script_samples *s) {
    run_free(s->run);
    free(s);
}
