/* Insufficient flow: in volume control the patient pulls for more than the machine gives. */
#include "analyze/patterns/acts.h"

#define LIKE_PEAK 1.1 /* the mean of an effort is no more than its peak */
#define ROUGH_SDS 1.5 /* constants that no fit or hold measured may all be wrong in one way */

enum param { MEAN, NOT, SDS };

static const struct pattern_param params[] = {
    {"mean_cmh2o", "cm[H2O]", 3.5, 2, 8, "Muscle pressure, mean of the middle half of inspiration: the middle of the band from 2 to 5.",
     "common practice, no source"},
    {"not_cmh2o", "cm[H2O]", 2, 1, 4, "... and less one standard deviation over this.", "common practice, no source"},
    {"sds", "", 2, 0, 4, "To be definite the mean less so many standard deviations has to be over 5 cmH2O.", "common practice, no source"},
    {0},
};

static const struct pattern_evidence evidence[] = {
    {"mean_cmh2o", "cm[H2O]", "muscle pressure, mean of the middle half of inspiration, above where the effort began"},
    {"sd_cmh2o", "cm[H2O]", "its standard deviation"},
    {"mechanics", "", "good, fair or poor: how well the constants behind it are known"},
    {"thr_cmh2o", "cm[H2O]", "threshold that was used"},
    {0},
};

/* The effort that pulls in the middle half of inspiration; NULL: what is seen there has no effort's beginning and end. */
static const struct effort *pulls(const struct pattern_window *w)
{
    const struct breath_row *row = w->at[w->own].row;
    const int64_t quarter = (row->t1_ns - row->t0_ns) / 4;
    for (int i = 0; i < w->n_efforts; i++)
        if (w->effort[i].start_ns < row->t1_ns - quarter && w->effort[i].neural_end_ns > row->t0_ns + quarter)
            return &w->effort[i];
    return NULL;
}

static void judge(const struct pattern_window *w, const double *p, struct pattern_verdict *out)
{
    const struct pattern_breath *b = &w->at[w->own];
    if (b->row->control != CONTROL_VOLUME)
        return;
    out->unjudged = acts_unfit(w, w->own);
    if (out->unjudged == WHY_NONE && (!b->muscle->read || isnan(b->muscle->mid_cmh2o)))
        out->unjudged = b->muscle->read ? WHY_breath_short : WHY_no_mechanics;
    if (out->unjudged != WHY_NONE || b->muscle->mid_cmh2o < p[MEAN] || b->muscle->mid_cmh2o - (b->muscle->source >= SOURCE_HOLD ? 1 : ROUGH_SDS) * b->muscle->mid_sd < p[NOT])
        return;
    const struct effort *e = pulls(w);
    if (!e)
        return;
    bool sure = b->muscle->mid_cmh2o - p[SDS] * b->muscle->mid_sd > 5 && b->muscle->quality >= MECHANICS_FAIR && b->muscle->source >= SOURCE_HOLD &&
                e->confidence == CONF_DEFINITE && b->muscle->mid_cmh2o < LIKE_PEAK * e->peak_cmh2o;
    out->confidence = sure ? CONF_DEFINITE : CONF_POSSIBLE;
    out->at_ns = b->row->t0_ns;
    evidence_number(out, "mean_cmh2o", b->muscle->mid_cmh2o, 2);
    evidence_number(out, "sd_cmh2o", b->muscle->mid_sd, 2);
    evidence_word(out, "mechanics", acts_quality(b->muscle->quality));
    evidence_number(out, "thr_cmh2o", p[MEAN], 2);
}

const struct pattern pattern_insufficient_flow = {
    .signature = "Volume control: pressure sags under the ramp of a passive breath, hollow, in the extreme under PEEP, while flow and volume are "
                 "as set.",
    .confidence = "Definite: the mean less two standard deviations is over 5 cmH2O, with mechanics from fits or holds. Else possible.",
    .alike = "Declining flow (its resistive part is taken out), a lung that opens (stress index under 1), an effort that a clock's inflation "
             "started (reverse trigger).",
    .params = params,
    .evidence = evidence,
    .judge = judge,
};
