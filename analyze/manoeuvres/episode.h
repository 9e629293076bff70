/* A finding that lasts: told breath by breath, opened when most of the last breaths show it, closed when few do. One event for
 * each episode; one that goes on is told every ten minutes, so that no event has to wait for hours. Common practice, no source. */
#ifndef TIDEMARK_ANALYZE_EPISODE_H
#define TIDEMARK_ANALYZE_EPISODE_H

#include "analyze/breath/row.h"

#define EPISODE_BREATHS  16
#define EPISODE_MEASURES 3
#define EPISODE_MOST_NS  (600 * NS_PER_S)

struct episode_rule {
    int of, open, close; /* among so many breaths: at least `open` open it, at most `close` close it */
    int64_t least_ns;    /* a shorter episode is not told */
};

struct episode {
    struct {
        int64_t t0_ns, t2_ns;
        float v[EPISODE_MEASURES];
        bool hit;
    } last[EPISODE_BREATHS]; /* the newest at (n - 1) % EPISODE_BREATHS */
    uint64_t n;
    bool open, goes_on; /* goes_on: an event has been told of it already */
    int64_t start_ns, end_ns; /* of the open one: first t0 and last t2 that show it */
    double sum[EPISODE_MEASURES];
    int hits, breaths;
};

/* An event's bounds and the mean measures of the breaths that show it. */
struct episode_end {
    int64_t start_ns, end_ns;
    double mean[EPISODE_MEASURES];
    int hits, breaths;
};

/* A breath; v: its measures where it shows the finding. True: *out tells of an episode that has ended, or of its first ten
 * minutes. */
bool episode_breath(struct episode *e, const struct episode_rule *r, int64_t t0_ns, int64_t t2_ns, bool hit,
                    const double v[EPISODE_MEASURES], struct episode_end *out);
/* The samples break off. */
bool episode_cut(struct episode *e, const struct episode_rule *r, struct episode_end *out);

#endif
