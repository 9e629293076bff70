/* Segmentation where flow's scale, and perhaps its law and sign of expiration, are unknown (`uncalibrated`):
 * timing only. A breath is a hump of the channel above its own resting level; levels follow the last 20 s, so
 * any scale gives the same times. Holds and apnoea are rest. Look-ahead: 2 s; nothing else is assumed. */
#ifndef TIDEMARK_ANALYZE_TIMING_ONLY_H
#define TIDEMARK_ANALYZE_TIMING_ONLY_H

#include "analyze/breath/ring.h"
#include "analyze/breath/seg.h"

#define TIMING_BINS 400  /* 20 s of 50 ms means */
#define TIMING_LOW  0.25 /* of the humps' height: within it of rest is no inspiration */

struct timing_only {
    const struct ring *ring;
    seg_breath_fn *fn;
    void *user;
    uint64_t bin;      /* samples per 50 ms mean */
    uint64_t next;     /* ordinal at which the next mean is complete */
    double level[TIMING_BINS];
    uint64_t begin_of[TIMING_BINS]; /* first sample of each mean */
    uint64_t n_bins;   /* ever made in this run */
    uint64_t looked;   /* bins already examined */
    bool inspiring, have_open, seen_rest;
    struct seg_breath open;
    uint64_t turned_bin; /* bin of the last t1: no onset before it */
    double height;     /* of the humps above rest, remembered */
};

void timing_only_init(struct timing_only *s, const struct ring *r, seg_breath_fn *fn, void *user);
int timing_only_follow(struct timing_only *s) MUST_USE;
int timing_only_cut(struct timing_only *s, enum reason why) MUST_USE;

#endif
