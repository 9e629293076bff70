/* One-compartment lung on a machine, in steady state, by closed form: what an ideal recording of it
 * holds, and what must be read off it. Formulas: exponential filling and emptying of one
 * compartment, itself checked against an integration of 80 breaths. */
#ifndef TIDEMARK_TESTS_ENGINE_LUNG_H
#define TIDEMARK_TESTS_ENGINE_LUNG_H

#include "analyze/session/engine.h"

struct lung {
    const char *name;
    bool infant;
    double ri, re, c_ml; /* cmH2O/(L/s), mL/cmH2O */
    double vt_ml, ti,
        tip;   /* volume control: square flow for ti, pause tip; vt_ml 0: pressure control */
    double dp; /* pressure control: square pressure for ti */
    double te, peep;
    double want_vt_ml, want_pip, want_pmean, want_auto, want_end_flow; /* the printed values */
};

#define LUNGS 14
extern const struct lung lungs[LUNGS];

double lung_cycle_s(const struct lung *l);
/* Pressure (cmH2O) and flow (L/s) at time t since the onset of a breath, 0 <= t < cycle. */
void lung_at(const struct lung *l, double t, double *p, double *q);

/* An engine at work, with what came out. Rows beyond the room are counted only. */
#define COLLECTED 256
struct collected {
    struct breath_row row[COLLECTED];
    struct event event[COLLECTED];
    int rows, events;
    int fail_at;            /* the sink fails at this row (1-based); 0: never */
    int64_t now_ns;         /* set by feed(): time of the last sample */
    bool at_end, too_early; /* a row left before 120 s after its end, and not at the end */
};

void rig_info(struct recording_info *info, double rate_hz, enum patient_size size);
int rig_new(struct engine **e, struct collected *c, const struct recording_info *info);

/* Blocks of 16 samples: t from `from_s` on at rate_hz, values from fn. Stops at the first failure.
 */
typedef void wave_fn(const void *user, double t, double *p, double *q);
int rig_feed(struct engine *e, struct collected *c, double rate_hz, double from_s, double to_s,
             wave_fn *fn, const void *user);

#endif
