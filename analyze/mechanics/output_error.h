/* The equation of motion as a filter: pressure goes in, volume comes out, and the constants are those whose volume is nearest
 * to the measured one (output error). Least squares of pressure on flow takes the noise and the heart in flow for flow:
 * errors in a regressor, which pull E and R apart (by a tenth of E under an ordinary heart in an obstructed lung, by half in
 * an infant whose inspiration is cut short); here they are errors of the output and bias nothing. Method: Ljung, System
 * Identification, chapter 7 (from memory); Gauss-Newton from the least-squares fit, sensitivities in closed form. */
#ifndef TIDEMARK_ANALYZE_OUTPUT_ERROR_H
#define TIDEMARK_ANALYZE_OUTPUT_ERROR_H

#include "analyze/mechanics/motion.h"

/* Refines E, Ri, Re and P0 of f (a fit that could be had), K2 staying; the chords follow. false: it did not settle, f is as it
 * was. se_e, se_r: standard errors relative to the values, residuals taken as white. *work as in motion.h. */
bool output_error(const struct motion_samples *s, double *work, struct motion_fit *f) MUST_USE;

#endif
