/* The start of a rise that begins softly: where pressure leaves the straight line before it.
 *
 * A machine that raises pressure slowly moves it by hundredths of a cmH2O in the first samples, so that no single step tells
 * its start. Over a window from 0.12 s (0.22 s in heavy noise) before the first estimate to a third of the rise, pressure is
 * fitted by least squares as a + b t + c w(t - s), once with w a ramp and once a parabola (valve and tubing are lags, whose
 * response starts like either), for every sample s. The s with the smallest residual is the start: the parabola's, unless the
 * ramp's is clearly smaller. Common practice (broken line), no source. */
#ifndef TIDEMARK_ANALYZE_ONSET_FIT_H
#define TIDEMARK_ANALYZE_ONSET_FIT_H

#include "analyze/breath/ring.h"

/* First estimate `at`, the sample before the rise; p_foot there and p_step, the rise within 0.15 s; p_sd, the noise. Samples in
 * [first, end) may be used. Returns the sample before the start; `at` where the window is too short. *steady: the same by the
 * ramp alone, which lies later but scatters less: for intervals. */
uint64_t onset_fit(const struct ring *r, uint64_t first, uint64_t end, uint64_t at, double p_foot, double p_step,
                   double p_sd, uint64_t *steady);

#endif
