#include "analyze/breath/scale.h"

struct breath_scale breath_scale_of(enum patient_size size)
{
    switch (size) {
    case PATIENT_INFANT:
        return (struct breath_scale){.flow = 0.15, .volume = 0.15, .time = 0.5, .count_min_l = 0.004};
    case PATIENT_CHILD:
        return (struct breath_scale){.flow = 0.5, .volume = 0.4, .time = 0.75, .count_min_l = 0.032};
    case PATIENT_ADULT:
    case PATIENT_UNKNOWN:
        break;
    }
    return (struct breath_scale){.flow = 1, .volume = 1, .time = 1, .count_min_l = 0.040};
}
