/* Which breaths enter medians and burdens. */
#ifndef TIDEMARK_SESSION_USABLE_H
#define TIDEMARK_SESSION_USABLE_H

#include "analyze/breath/row.h"

/* Complete, and without gap or event. Other codes of `quality` (a leak, an unsteady
 * valve) concern single values, which are then empty themselves. */
static inline bool breath_usable(const struct breath_row *r)
{
    const uint64_t spoils = UINT64_C(1) << WHY_gap | UINT64_C(1) << WHY_event;
    return r->complete && (r->quality & spoils) == 0;
}

#endif
