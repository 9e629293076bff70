/* Rows and events on their way out: held for 120 s of recording time after their end, so that neighbours and
 * events that come later can still be said on them, then released in order and never revised. */
#ifndef TIDEMARK_ANALYZE_PENDING_H
#define TIDEMARK_ANALYZE_PENDING_H

#include "analyze/breath/beat.h"
#include "analyze/breath/classify.h"
#include "analyze/breath/overshoot.h"
#include "analyze/mechanics/muscle.h"
#include "analyze/manoeuvres/plateau.h"
#include "analyze/mechanics/autopeep.h"
#include "analyze/mechanics/stress.h"
#include "analyze/mechanics/work.h"
#include "analyze/patterns/pattern.h"
#include "analyze/session/drive_facts.h"
#include "analyze/session/engine.h"

#define PENDING_ROWS   1024 /* 120 s at 200 breaths a minute, and the neighbours behind */
#define PENDING_EVENTS 256
#define PENDING_EFFORTS 1024
#define HOLD_NS        (120 * NS_PER_S)

struct pending_row {
    struct breath_row row;
    struct breath_more more;
    struct plateau plateau;
    struct autopeep_fit fit;      /* of this breath; whether it still holds, the row's cells say */
    double end_base_l_s;          /* leak or offset at its end: what flow out is short of */
    bool exp_held;                /* an expiratory hold ends it */
    struct hold_reading exp_hold;
    struct work work;
    struct stress stress;         /* read off its samples, whatever it turns out to be */
    struct expiration exp;        /* for the patterns */
    struct muscle muscle;
    struct overshoot over;
    struct beat beat;
    struct drive_facts drive;
    bool may_be_limited; /* flow out, in this breath and its neighbours */
    uint8_t alike; /* enum alike, bits: findings that it lies in */
    double hr_per_min; /* the heart's, with ALIKE_HEART */
    bool dropped; /* within a disconnection, suction, ...: not a breath */
};

/* What an expiratory hold found, and the breath that it ended: in others like it the same stays behind. */
struct total_peep_held {
    bool there;
    int64_t at_ns;
    double total_cmh2o, peep_cmh2o, te_s, vti_ml;
};

struct pending {
    struct pending_row *rows; /* ring; [head, tail) wait, [first, head) are neighbours already released */
    uint64_t first, head, tail;
    struct event *events; /* in order of their end */
    int n_events;
    struct effort *efforts; /* in order of their peak: first those that have left, kept as long as their breath may be a neighbour */
    int n_efforts, efforts_left;
    uint64_t released_rows, released_events;
    double flow_scale, time_scale, rate_hz;
    struct pattern_settings settings;
    bool uncalibrated; /* flow has no scale */
    struct drive_window window; /* for the index */
    struct total_peep_held held; /* the last expiratory hold that could be read */
};

int pending_init(struct pending *p, double flow_scale, double rate_hz) MUST_USE;
void pending_free(struct pending *p);

/* A new row at the end, all cells NAN; TM_ERR_MEMORY never: the oldest is released first if full. */
struct pending_row *pending_add(struct pending *p);
static inline struct pending_row *pending_at(struct pending *p, uint64_t i)
{
    return &p->rows[i % PENDING_ROWS];
}
static inline bool pending_full(const struct pending *p)
{
    return p->tail - p->first >= PENDING_ROWS - 2;
}
/* An effort; the oldest is dropped if there are more than can be in the time that rows are kept. */
void pending_effort(struct pending *p, const struct effort *e);
void pending_event(struct pending *p, const struct event *e);
/* What waits of this kind and lies by half in the owner is the owner's: a pause in breathing while the valves are shut. */
void pending_owns(struct pending *p, const struct event *owner, enum event_id id);

/* A stretch that is no breath, [from, to): breaths that begin in it are dropped, those that overlap carry `event`. */
struct stretch {
    int64_t from_ns, to_ns;
    bool keep_breathing; /* rows that breathe out at least half of what came in are kept, with `event` */
    int64_t refilled_ns; /* so long after it gas that goes in to stay is no breath */
    bool drop_inspiring; /* a row whose inspiration runs into it is dropped as well */
};
void pending_drop(struct pending *p, const struct stretch *s);
/* Mechanics that this breath can't give after all. A cell that is empty already keeps its reason. */
void pending_take_back(struct breath_row *row, enum reason why);
/* Empties what is a matter of several breaths (leak, minute volume) on rows that end after from_ns. */
void pending_unknown(struct pending *p, int64_t from_ns);
void pending_touch(struct pending *p, int64_t from_ns, int64_t to_ns, enum reason code);

/* Releases what ended 120 s before now_ns (all: everything). */
int pending_release(struct pending *p, int64_t now_ns, bool all, const struct noise *z, double heart_l_s, const struct engine_sink *sink)
    MUST_USE;

#endif
