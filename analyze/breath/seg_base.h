/* A base flow that was learnt wrongly hides every breath that could mend it. So long without an onset although gas goes in and
 * out, pressure is kept, and the mean flow is not what was thought to leak: then that mean is what leaks. Times and counts:
 * common practice, no source. */
#ifndef TIDEMARK_ANALYZE_SEG_BASE_H
#define TIDEMARK_ANALYZE_SEG_BASE_H

#include "analyze/breath/seg.h"

/* To be called at a look (s->n) while no candidate stands; does something once in 15 s at most. */
void seg_renew_base(struct seg *s);

#endif
