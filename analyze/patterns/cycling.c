/* Early and late termination: the end of the inflation against the neural end of the effort that triggered it. */
#include "analyze/patterns/acts.h"

enum param { SHARE, LEAST, HEARTS };

#define SDS      1.5 /* of its own standard deviation: the end of a smaller effort is not to be told */
#define LONGEST_S 1.8 /* nobody pulls for longer: start or end are wrong */
#define SURE_S   1.5
#define END_SD_S 0.06 /* of a neural end, where mechanics are known */

#define SHARE_PARAM \
    {"share", "", 0.27, 0.2, 0.5, "Least error as a share of the effort's neural time: the middle of the band from 20 to 33 %.", \
     "the 33 % line: published timing index, from memory; the band is common practice, no source"}
#define HEART_PARAM \
    {"heart_ratio", "", 2, 1, 3, "Least size of the effort in bumps of this patient's heart.", "common practice, no source"}

static const struct pattern_param early_params[] = {
    SHARE_PARAM,
    {"least_s", "s", 0.1, 0.05, 0.3, "Least error.", "common practice, no source"},
    HEART_PARAM,
    {0},
};
static const struct pattern_param late_params[] = {
    SHARE_PARAM,
    {"least_s", "s", 0.15, 0.05, 0.4, "Least error.", "common practice, no source"},
    HEART_PARAM,
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"err_s", "s", "how long before (early) or after (late) the effort's neural end the inflation ended"},
    {"err_share", "", "the same as a share of the effort's neural time"},
    {"neural_ti_s", "s", "from the effort's start to its neural end"},
    ACTS_EVIDENCE,
    {"thr_s", "s", "threshold that was used"},
    {0},
};

/* The effort by which the breath's end is judged; NULL: not judged (why in out), or nothing to judge. */
static const struct effort *judged_by(const struct pattern_window *w, double hearts, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    if (!acts_triggered(b->row) || b->row->pattern[PATTERN_auto_trigger]) /* no effort of its own */
        return NULL;
    out->unjudged = acts_unfit(w, w->own);
    if (out->unjudged == WHY_NONE && !b->row->complete)
        out->unjudged = WHY_gap;
    const struct effort *e = out->unjudged == WHY_NONE ? acts_own(w, w->own) : NULL;
    if (e && (!acts_over_heart(w, w->own, e, hearts) || e->peak_cmh2o < SDS * e->sd_cmh2o ||
              acts_s(e->start_ns, e->neural_end_ns) > LONGEST_S * w->time_scale)) {
        out->unjudged = WHY_below_resolution;
        return NULL;
    }
    return e;
}

static void judge(const struct pattern_window *w, const double *p, int sign, struct pattern_verdict *out)
{
    const struct effort *e = judged_by(w, p[HEARTS], out);
    if (!e)
        return;
    double late = sign * acts_s(e->neural_end_ns, w->at[w->own].row->t1_ns), neural = acts_s(e->start_ns, e->neural_end_ns);
    double least = fmax(p[SHARE] * neural, p[LEAST]);
    if (late < least)
        return;
    bool sure = late - END_SD_S > fmax(0.33 * neural, p[LEAST]) && e->confidence == CONF_DEFINITE && w->rate_hz >= 50 && neural < SURE_S * w->time_scale &&
                !(w->at[w->own].row->v[COL_leak_pct] > 20);
    out->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    out->at_ns = sign < 0 ? w->at[w->own].row->t1_ns : e->neural_end_ns;
    evidence_number(out, "err_s", late, 2);
    evidence_number(out, "err_share", late / neural, 2);
    evidence_number(out, "neural_ti_s", neural, 2);
    acts_evidence(out, e);
    evidence_number(out, "thr_s", least, 2);
}

static void early(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    judge(w, p, -1, out);
}

static void late(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    judge(w, p, 1, out);
}

const struct pattern pattern_early_cycling = {
    .signature = "Right after the start of expiration flow returns towards zero, its peak is cut, pressure stays low: the muscles still pull.",
    .confidence = "Definite: the error is past its limit by a standard deviation of the neural end, the effort is sure, leak up to 20 %, from "
                  "50 Hz. Else possible.",
    .alike = "An ineffective effort (begins after a full peak of expired flow), ringing of the closing valve, a reverse-triggered effort.",
    .params = early_params,
    .evidence = evidence,
    .judge = early,
};

const struct pattern pattern_late_cycling = {
    .signature = "After the effort flow falls as a passive lung fills, and goes on to the end; pressure may rise at the end.",
    .confidence = "Definite: the error is past its limit by a standard deviation of the neural end, the effort is sure, leak up to 20 %, from "
                  "50 Hz. Else possible.",
    .alike = "A breath without any effort, a leak that keeps flow up, a hold. Relaxation or a push: the rise at the end doesn't tell.",
    .params = late_params,
    .evidence = evidence,
    .judge = late,
};
