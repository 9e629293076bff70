/* How an inspiration ends (internal to the segmentation). */
#ifndef TIDEMARK_ANALYZE_SEG_TURN_H
#define TIDEMARK_ANALYZE_SEG_TURN_H

#include "analyze/breath/seg.h"

enum turn {
    TURN_NONE,
    TURN_EXPIRES, /* expiration began */
    TURN_DRAWN,   /* no breath: something drew gas, evenly, and stopped */
    TURN_AGAIN,   /* a second inflation begins before the first was breathed out; s->next is its candidate */
    TURN_STEP     /* the machine's step came after the patient's draw: s->next replaces the open breath's start */
};

struct seg_turn {
    uint64_t i1;
    int64_t t1_ns;
    bool fall;   /* the machine's fall */
    bool turned; /* flow is known to be outward */
};

enum turn seg_turn_look(struct seg *s, uint64_t end, bool maybe_rise, bool maybe_fall, double q_net,
                        struct seg_turn *out);

#endif
