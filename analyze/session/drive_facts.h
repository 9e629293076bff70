/* What the cells of drive and triggering are made of, kept while a row waits: read from the samples as its breath closes. */
#ifndef TIDEMARK_ANALYZE_DRIVE_FACTS_H
#define TIDEMARK_ANALYZE_DRIVE_FACTS_H

#include "analyze/mechanics/drive.h"

struct drive_facts {
    bool follows;           /* the breath before is known up to t0 */
    int64_t departure_ns;   /* flow or pressure left the passive course there; -1: not seen */
    int64_t start_ns;       /* the effort under way at t0 starts there, by the estimated muscle pressure; -1: none found */
    double effort_cmh2o;    /* its size */
    struct drive_p01 p01;   /* of the trigger phase */
    double drop_cmh2o;      /* PEEP less the lowest pressure between the effort's start and t0; NAN */
    double support_cmh2o;   /* held pressure of inspiration above the PEEP that it started from; NAN */
};

#define DRIVE_KEPT 256 /* breaths of a minute: no patient has more */

/* The last minute of breaths that nothing interrupts. */
struct drive_window {
    struct {
        int64_t t0_ns, t2_ns;
        double vte_ml, support_cmh2o;
        bool other;         /* neither unassisted nor supported */
    } kept[DRIVE_KEPT];
    uint64_t n;             /* entered since it was last broken */
    bool begun;
    int64_t end_ns;         /* of the last row */
    int64_t broken_ns;      /* nothing before it is taken */
    enum reason broken_why;
};

#endif
