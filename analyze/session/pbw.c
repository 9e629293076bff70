#include "analyze/session/pbw.h"

#include <math.h>

struct pbw pbw_of(double height_cm, char sex, enum patient_size patient)
{
    struct pbw p = {(double)NAN, WHY_no_height};
    if (!isfinite(height_cm) || (sex != 'f' && sex != 'm'))
        return p;
    p.why = WHY_height_range;
    if (patient == PATIENT_CHILD || patient == PATIENT_INFANT || height_cm < PBW_HEIGHT_LOW_CM ||
        height_cm > PBW_HEIGHT_HIGH_CM)
        return p;
    p.kg = (sex == 'm' ? 50.0 : 45.5) + 0.91 * (height_cm - 152.4);
    if (height_cm >= PBW_HEIGHT_PLAIN_CM)
        p.why = WHY_NONE;
    return p;
}
