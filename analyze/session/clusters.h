/* Clusters of ineffective efforts: 3 minutes that hold more than 30 of them; windows that touch are one cluster.
 *
 * Definition: Vaporidi, Intensive Care Med 2017, doi 10.1007/s00134-016-4593-z. A window is closed at its end and open at its
 * start: an effort 180 s ago has left. Fixed memory. */
#ifndef TIDEMARK_SESSION_CLUSTERS_H
#define TIDEMARK_SESSION_CLUSTERS_H

#include <stdint.h>

#define CLUSTER_WINDOW_S 180
#define CLUSTER_OVER     30  /* efforts in a window that are no cluster yet */
#define CLUSTERS_KEPT    100 /* all are counted */
#define CLUSTER_RING     512 /* efforts of one window: nobody breathes 170 a minute; further ones push out the oldest */

struct cluster {
    int64_t start_ns, end_ns; /* first and last effort */
    uint64_t n;               /* efforts from first to last */
    uint64_t peak;            /* most of any window */
};

struct clusters {
    struct cluster kept[CLUSTERS_KEPT]; /* the first ones */
    struct cluster last;
    uint64_t n;         /* clusters */
    int64_t done_ns;    /* duration of all before the last */
    uint64_t seen;      /* efforts so far */
    uint64_t last_from; /* number of the last cluster's first effort */
    uint64_t in_window;
    int64_t at_ns[CLUSTER_RING]; /* effort i at i % CLUSTER_RING */
};

/* Efforts in order of time; one that comes out of order counts as of the time of the one before. Zeroed memory is none. */
void clusters_add(struct clusters *c, int64_t at_ns);
int64_t clusters_total_ns(const struct clusters *c);

#endif
