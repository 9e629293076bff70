/* Sample times from arrival times (clock=host): causal, in fixed counts of samples, so that the same lines give
 * the same times however they are read.
 *
 * A sample arrives late by a delay that is never negative and often near its least: the truth is the lower edge
 * of the arrivals. Samples are laid out at a step that starts at the nominal one. Over each window of a second's
 * worth of samples the least lateness (arrival - time) is taken; in the next window half of it is made up for,
 * and a twentieth goes into the step for good (that follows a source whose rate is off). Corrections are kept
 * within 1 % of the nominal step, the lasting one within 2 %: times always rise.
 * An arrival more than 1 s after its place, or a gap, starts the fit anew at that arrival.
 * (common practice, no source; constants by trial on simulated bursts of 1 to 16 samples) */
#ifndef TIDEMARK_INGEST_LOG_HOST_FIT_H
#define TIDEMARK_INGEST_LOG_HOST_FIT_H

#include <stdbool.h>
#include <stdint.h>

struct host_fit {
    double nominal_ns;
    int64_t base;  /* the last restart's time, ns */
    double offset; /* of the last sample from base, ns */
    double step;   /* lasting step, ns */
    double trim;   /* added in this window, ns per sample */
    double least;  /* of arrival - time in this window, ns */
    int64_t window, n;
    bool running;
};

void host_fit_init(struct host_fit *f, int64_t rate_num, int64_t rate_den);

/* The next sample counts from its arrival, as after a gap. */
void host_fit_restart(struct host_fit *f);

/* The time of the next sample. after_ns: time of the sample before (INT64_MIN: none); the result is later. */
int64_t host_fit_push(struct host_fit *f, int64_t arrival_ns, int64_t after_ns);

#endif
