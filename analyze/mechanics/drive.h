/* What the start of an effort shows at the port: occlusion pressure at 0.1 s, and what the trigger costs.
 *
 * One rule of crossing: pressure is below its level before the effort by over max(0.5 cmH2O, 4 sd), in two samples running. The
 * level is the mean of the 0.2 s before, which has to be flat. P0.1 is
 *   - of an effort against valves that stay shut: p(tc) - p(tc + 0.1 s), tc the crossing, both interpolated linearly;
 *   - of the phase before the machine answers: fall / time since the effort's start x 0.1 s, if hardly any gas has moved, from
 *     50 Hz on, over at least 3 samples. Exact for a ramp and for the straight start of a sine; too high for one that starts
 *     slowly (10 (t/0.9)^1.5 cmH2O, triggering at 1: 0.52 for 0.37).
 * Definition: Whitelaw, Respir Physiol 1975 (from memory); the limits are common practice, no source. */
#ifndef TIDEMARK_ANALYZE_DRIVE_H
#define TIDEMARK_ANALYZE_DRIVE_H

#include "analyze/breath/ring.h"
#include "analyze/breath/row.h"

#define DRIVE_MOST_CMH2O 20.0 /* no patient pulls more in 0.1 s */

struct drive_p01 {
    double p01_cmh2o; /* NAN with why */
    enum reason why;
};

struct trigger_phase_in {
    const struct ring *ring;
    uint64_t floor;       /* samples before it are of something else (the inflation before, another run) */
    uint64_t i0;          /* last sample before the machine delivers */
    int64_t start_ns;     /* where the effort leaves the passive course */
    double p_sd_cmh2o;    /* noise of a sample */
    double q_base_l_s;    /* flow that is no patient's: leak, offset */
    double flow_scale;    /* 1, less in infants */
    double circuit_c_l_cmh2o; /* gas that a pull on shut tubing moves */
};

void drive_trigger(const struct trigger_phase_in *in, struct drive_p01 *out);

/* The first effort in samples [from, to) of a stretch that is shut; no_effort: none falls by 1.5 cmH2O. */
void drive_occluded(const struct ring *r, uint64_t from, uint64_t to, double p_sd_cmh2o, struct drive_p01 *out);

/* Lowest pressure in samples [from, to], as 20 ms means, which noise moves less. */
double drive_lowest_cmh2o(const struct ring *r, uint64_t from, uint64_t to);

#endif
