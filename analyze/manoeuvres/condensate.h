/* Condensate: water that sloshes in the tubing. It sits between machine and lung and pushes gas to both sides, so its ripple of
 * pressure (2 to 8 Hz, irregular) comes with flow of the same sign, as large as the lung admits. What comes from the patient (the
 * heart, secretions) comes the other way round: pressure rises where gas flows out, by no more than the limb resists. A
 * breath shows it where the ripple of pressure late in expiration has an rms of 0.1 cmH2O and is half again over the noise, and is either
 * of the flow's sign or over three times what a limb of 5 cmH2O s/L makes of the flow; and where inspiration, if it is long enough to
 * tell, ripples too. Told where half of the breaths show it, for half a minute. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_CONDENSATE_H
#define TIDEMARK_ANALYZE_CONDENSATE_H

#include "analyze/breath/seg.h"
#include "analyze/manoeuvres/episode.h"
#include "analyze/manoeuvres/ripple.h"

struct condensate {
    struct episode episode;
};

/* p, q: ripple late in expiration; in: that of pressure in inspiration, n 0: too short. */
bool condensate_breath(struct condensate *s, const struct seg_breath *b, const struct ripple *p, const struct ripple *q,
                       const struct ripple *in, double flow_scale, struct event *out);
bool condensate_cut(struct condensate *s, struct event *out);

#endif
