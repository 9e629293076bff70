/* Predicted body weight.
 *
 * 50 (male) or 45.5 (female) + 0.91 (height in cm - 152.4) kg: the metric form of N Engl J Med 2000;342:1301. The inch
 * form, 2.3 kg per inch over 60, differs by up to 0.3 kg and is not used. The formula was made for adults: there is
 * none here for smaller bodies, and none for an unknown sex (never the mean of both). */
#ifndef TIDEMARK_SESSION_PBW_H
#define TIDEMARK_SESSION_PBW_H

#include "analyze/breath/row.h"

#define PBW_HEIGHT_LOW_CM   137.0 /* under this: none (common practice, no source) */
#define PBW_HEIGHT_PLAIN_CM 152.4 /* from here to PBW_HEIGHT_HIGH_CM: plain; below: computed, and said */
#define PBW_HEIGHT_HIGH_CM  213.0

struct pbw {
    double kg;       /* NAN: none */
    enum reason why; /* WHY_no_height (height or sex unknown), WHY_height_range; with a weight: WHY_height_range
                        if the height lies outside the plain range, else WHY_NONE */
};

/* height_cm NAN and sex 0: unknown. A child or infant has none: height_range. */
struct pbw pbw_of(double height_cm, char sex, enum patient_size patient);

#endif
