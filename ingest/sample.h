/* What flows from ingest/ to analyze/: blocks of samples, gaps, marks, clock events, and what is known of
 * the recording. This is the only header of ingest/ that analyze/ includes (analyze/program/ excepted: it
 * opens sources and writes logs).
 *
 * Units inside the program: pressure cmH2O (gauge), flow L/s (positive into the patient), volume L, time
 * integer nanoseconds. Recording time is 0 at the first sample. NAN means not measured. */
#ifndef TIDEMARK_INGEST_SAMPLE_H
#define TIDEMARK_INGEST_SAMPLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "ingest/notice.h"

#define NS_PER_S INT64_C(1000000000)

enum channel {
    CH_PAW,    /* airway pressure, cmH2O, gauge */
    CH_FLOW,   /* L/s, positive into the patient */
    CH_VOLUME, /* L, as the source gives it; never used in place of the flow's integral */
    CH_PES,    /* oesophageal pressure, cmH2O */
    CH_CO2,    /* partial pressure, mmHg (conventional) */
    CH_SPO2,   /* 0..1 */
    CH_FIO2,   /* 0..1 */
    CH_PHASE,  /* device's own phase bit: 1 inspiration, 0 expiration */
    CH_N
};

#define BLOCK_CAP 1024 /* samples; blocks may be of any size from 1, results never depend on it */

/* Samples in time order, strictly rising. v[c] is meaningful where bit c of `channels` is set. Owned by the
 * source; valid until its next call; receivers copy what they keep. */
struct sample_block {
    size_t n;
    uint32_t channels;
    int64_t t_ns[BLOCK_CAP];
    double v[CH_N][BLOCK_CAP];
};

/* A known hole. Receivers detect holes from the times themselves (recording_info.gap_limit_ns); a gap item
 * only adds the reason, and comes before the first sample after the hole. */
struct gap {
    int64_t from_ns; /* last sample before; -1: before the first */
    int64_t to_ns;   /* first sample after; -1: not yet known */
    char reason[32]; /* e.g. "cable-out", "damaged", "bad_count", "missing", "clock" */
};

#define MARK_TEXT_MAX 240
struct mark {
    int64_t at_ns;      /* recording time meant */
    int64_t entered_ns; /* recording time entered; -1 where unknown */
    char kind[32];      /* e.g. "suction", "hold" */
    char text[MARK_TEXT_MAX]; /* key=value pairs as they stood, still percent-encoded, space separated */
};

enum item_kind { ITEM_SAMPLES, ITEM_GAP, ITEM_MARK };

struct item {
    enum item_kind kind;
    const struct sample_block *samples; /* ITEM_SAMPLES */
    struct gap gap;                     /* ITEM_GAP */
    struct mark mark;                   /* ITEM_MARK */
};

enum clock_kind {
    CLOCK_SOURCE,   /* stamps of the source */
    CLOCK_HOST,     /* arrival times, fitted by the reader */
    CLOCK_RATE_ONLY /* only a rate was given: sample k is at k/rate */
};

enum patient_size { PATIENT_UNKNOWN, PATIENT_ADULT, PATIENT_CHILD, PATIENT_INFANT };

struct channel_info {
    bool present;
    char unit[16]; /* UCUM, as in the source */
    char gas[8];   /* BTPS, ATPS, ATPD, STPD or "" (flow and volume only) */
    int decimals;  /* as in the source; -1 unknown */
};

struct recording_info {
    struct channel_info channel[CH_N];
    bool regular;          /* steps are nominal: rate_num/rate_den is exact */
    int64_t rate_num;      /* Hz as a fraction; of an irregular source the estimate, den 1000 */
    int64_t rate_den;
    int64_t gap_limit_ns;  /* a step above this is a hole: 1.5 nominal, or max(2.5 median, 20 ms) */
    enum clock_kind clock;
    bool flow_uncalibrated; /* flow's scale (and perhaps law) is unknown: timing only */
    char start[40];        /* RFC 3339 text of recording time 0, or "" */
    bool start_known;
    int64_t start_unix_ns; /* of recording time 0; valid where start_known */
    int start_offset_min;  /* offset of local time from UTC */
    int64_t first_source_ns; /* the source's own time of the first sample */
    char subject_code[17];   /* "" unknown */
    char sex;                /* 'f', 'm' or 0 */
    double height_cm;        /* NAN unknown */
    char age_band[16];       /* "" unknown */
    enum patient_size patient; /* as stated by header or option; PATIENT_UNKNOWN: to be inferred */
    char airway[32];         /* "" unknown */
    double tube_mm;          /* NAN unknown */
    char site[16];           /* airway, machine, mask or "" */
    double circuit_c_ml_cmh2o; /* NAN unknown */
    char session[33];
    long part;               /* 0: not parted */
};

/* All unknown: NAN, "", 0. */
void recording_info_defaults(struct recording_info *info);

/* The step above which there is a hole, ns, of a source whose nominal (not regular: median) step is step_ns: 1.5 steps, or
 * the larger of 2.5 steps and 20 ms. Common practice, no source. */
int64_t gap_limit_of(bool regular, int64_t step_ns);

#endif
