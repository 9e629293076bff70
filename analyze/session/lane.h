/* One reading of the stream at one patient size: segmentation, measurement, events, and the rows waiting to
 * leave. The engine runs one lane; in the first minute of a patient of unknown size, an adult's and an
 * infant's side by side. */
#ifndef TIDEMARK_ANALYZE_LANE_H
#define TIDEMARK_ANALYZE_LANE_H

#include "analyze/breath/timing_only.h"
#include "analyze/breath/valve_lag.h"
#include "analyze/manoeuvres/disconnection.h"
#include "analyze/manoeuvres/holds.h"
#include "analyze/manoeuvres/one_way.h"
#include "analyze/manoeuvres/rest.h"
#include "analyze/manoeuvres/suction.h"
#include "analyze/manoeuvres/sustained_inflation.h"
#include "analyze/mechanics/lag.h"
#include "analyze/mechanics/leak_model.h"
#include "analyze/mechanics/motion.h"
#include "analyze/mechanics/pool.h"
#include "analyze/mechanics/steps.h"
#include "analyze/mechanics/effort.h"
#include "analyze/session/lane_alike.h"
#include "analyze/session/pending.h"
#include "analyze/session/trend.h"

#define LANE_HEARTS    15
#define LANE_STRETCHES 8

struct effort_watch {
    bool waits;
    struct seg_breath b;
    struct mechanics m; /* as known before it */
    bool pulled;        /* something departed before it */
};

struct expiration_watch {
    bool waits, disturbed, braked;
    struct seg_breath b;
    struct mechanics m;
    int64_t effort_ns; /* start of the effort that ends it; INT64_MAX: none known */
    double effort_cmh2o;
};

struct lane {
    struct ring *ring; /* the engine's */
    struct noise noise;
    struct breath_scale scale;
    bool uncalibrated, infant;
    double pbw_kg;
    struct seg seg;
    struct timing_only timing;
    struct trend trend;
    struct ordinary ordinary;
    struct trend habit_trend; /* as trend, but of every complete breath that is in no event: a high level held for long too */
    struct ordinary habit;
    struct pending pending;
    struct disconnection disconnection;
    struct sustained_inflation inflation;
    struct suction suction;
    struct one_way one_way;
    struct rest rest;
    int64_t breath_ns;      /* end of the last row that is a breath; -1: none */
    struct shut_ctx shut_x;
    struct holds holds;
    struct lag lag;
    struct valve_lag valve_lag; /* until that is known */
    struct leak_model leak;
    struct pool pool;
    struct steps steps;
    struct tracker tracker;
    double tracked_peep_cmh2o; /* the ordinary breaths' PEEP that the tracker knows; NAN */
    double pulled_share;       /* of the last ten breaths or so: those that an effort began */
    struct effort_watch watch; /* the last breath: judged when the next has closed */
    struct alike_watch alike;
    struct expiration_watch expiring; /* the one before: read when the efforts after it are known */
    struct effort_curve curve;
    double heart[LANE_HEARTS]; /* A_h of the last expirations */
    int n_heart;
    double heart_resid_l_s;
    double quiet[LANE_HEARTS]; /* least range of the last muscle pressure curves */
    int n_quiet;
    bool departed;          /* an effort was seen at the end of the last breath */
    int64_t quiet_from_ns;  /* end of the last breath's expired flow, or of what else explains a silence; -1: none */
    bool unseen;            /* the run of samples began with it: no breath so far */
    struct stretch stretch[LANE_STRETCHES]; /* the last ones: breaths that close later meet them */
    uint64_t n_stretches;
    int64_t suction_end_ns; /* rows for 60 s after it carry after_suction */
    uint64_t tick_at;       /* ordinal at which the next 50 ms mean is complete */
    uint64_t tick_len;
    double volumes_l[64];   /* inspired, of the first minute: for the patient's size */
    int n_volumes;
    struct motion_samples samples;
    double work[MOTION_WORK];
};

int lane_new(struct lane **out, struct ring *r, const struct recording_info *info, enum patient_size size,
             double pbw_kg) MUST_USE;
void lane_destroy(struct lane *l);

/* After samples were pushed (every few samples; the same few however they arrive). */
int lane_follow(struct lane *l) MUST_USE;
/* The run ends here (a hole, or the end of input). */
int lane_cut(struct lane *l, enum reason why) MUST_USE;
/* A mark that names events, and those it may name: suction that only a mark can tell. */
bool lane_wants(const struct mark *m);
void lane_mark(struct lane *l, const struct mark *m);
/* 75th percentile of the first minute's inspired volumes, L; NAN under 3 breaths. */
double lane_volume75_l(struct lane *l);

#endif
