/* How what is lost in a breath spreads over it: evenly (the sensor's zero is off), with the root of pressure (an orifice at
 * the airway), or with pressure above the expiratory level (a cuff that gives way). A wrong spread moves the fitted compliance
 * by as much as the leak is large, and the fit's own residual tells which it is. Orifice: Bernoulli; the rest common
 * practice, no source. */
#ifndef TIDEMARK_ANALYZE_LEAK_SHAPE_H
#define TIDEMARK_ANALYZE_LEAK_SHAPE_H

#include "analyze/mechanics/motion.h"

/* s: gathered with an even drift of net_l over the breath taken out of v. Where net_l is inward and over 2 % of the volume's
 * range, v and q become those of the spread that fits best. *work as in motion.h. */
void leak_shape(struct motion_samples *s, double net_l, double *work);

#endif
