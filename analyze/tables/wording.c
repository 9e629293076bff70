#include "analyze/tables/wording.h"

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

int wording_version(void)
{
    return 2;
}

const char *wording_short(void)
{
    return "Look back only. No alarm, no medical device, no basis for treatment decisions.";
}

const char *wording_medium(size_t i)
{
    static const char *const lines[] = {
        "Tidemark reads recorded airway pressure and flow and describes each breath, afterwards, for "
        "teaching and research.",
        "It is not a medical device or an alarm, it watches nobody, and what it marks may be wrong or "
        "missing.",
        "Care follows the patient, the bedside equipment, the local protocol and licensed staff. "
        "Recordings are confidential.",
    };
    return i < COUNT(lines) ? lines[i] : NULL;
}

const char *wording_long(size_t i)
{
    static const char *const lines[] = {
        "Tidemark describes breaths from samples of airway pressure and flow. It looks back, also when it "
        "shows a running recording.",
        "It is meant for teaching, quality work and approved research. It has not been assessed or cleared "
        "as a medical device anywhere.",
        "It raises no alarm and watches no limit. The bedside equipment's own displays and alarms stay in "
        "charge.",
        "What it marks may be wrong, and what it does not mark may still be there. Empty cells mean "
        "\"could not be told\", with a reason.",
        "Pressure and flow alone do not show effort, lung or brain. Marks that would need more than these "
        "say \"possible\".",
        "Numbers are as good as the sensor, its zero, its gas condition and its place in the tubing. Check "
        "these before trusting a volume.",
        "It gives no advice. Decisions follow the patient, the local protocol and the judgement of "
        "licensed staff.",
        "Connect nothing to bedside equipment without the consent of the local biomedical engineering "
        "service, and then isolated and listening only.",
        "Keep computer and cable clean as the local infection-control policy asks, and out of the way of "
        "care.",
        "Recordings are health data under a code, not anonymous. Write no names in marks, store them "
        "encrypted, share them only as approved.",
        "Research use needs ethics approval before the first sample is recorded. Keep the version and the "
        "options with the results.",
        "The software comes without warranty, under its licence. Report faults with simulated data only.",
    };
    return i < COUNT(lines) ? lines[i] : NULL;
}

const char *wording_intended_use(void)
{
    return "Teaching, quality review and approved research, looking back at what was recorded; care is "
           "decided by people at the bedside, from their own devices.";
}

const char *wording_identifiability(void)
{
    return "Pseudonymous, not anonymous: whoever holds the code list or the hospital's records can find the "
           "person. Dates and times (start, start_time) stay in unless dropped; a table or log with an "
           "absolute start is not de-identified by the list of 45 CFR 164.514(b)(2). The waveform itself can "
           "be matched to the same waveform stored elsewhere.";
}

const struct wording_limit *wording_limit(size_t i)
{
    static const struct wording_limit limits[] = {
        {"Effort is inferred, not measured.",
         "pressure and flow show effort only by its effect; oesophageal pressure or diaphragm activity would "
         "measure it",
         "effort; auto_trigger, reverse_trigger, expiratory_effort: never definite without the channel, "
         "flow_limitation not without a natural test"},
        {"Plateau, compliance, auto-PEEP hold for a passive patient and a true hold.",
         "muscles move the plateau either way; a breath without hold, pause or run-out pressure control has "
         "no plateau; auto-PEEP without a hold is a lower bound in unequal lungs",
         "pplat, driving, driving_airway, cstat, total_peep, autopeep; pplat_basis says how the plateau was "
         "read, cstat_basis over which PEEP, autopeep_basis how (hold, flow, fit)"},
        {"A fit assumes one compartment, one resistance.",
         "unequal lungs, flow limitation, volume-dependent compliance break it, and a high R2 does not show "
         "it",
         "fit_*, rc_exp_s"},
        {"Volumes carry the sensor's error.",
         "5-15 % is ordinary, more with water, leak or wrong gas condition",
         "vti, vte, leak, ve, c*, power"},
        {"Leak and drift look alike.", "both make inspired exceed expired volume", "leak_pct"},
        {"A pattern rate is of breaths that could be judged.",
         "gaps, artefacts and short files change the denominator; every share prints n of N",
         "hours, summary"},
        {"Detectors were tested on simulated patients.",
         "the band between \"is\" and \"is not\" is not scored; performance in this patient is unknown",
         "all patterns"},
        {"Work and power of the machine are not the patient's.",
         "area under airway pressure leaves the muscles out", "wob, power"},
        {"Indices predict groups, not this patient.",
         "e.g. the rate/volume index has specificity 0.64 in its own validation set", "rsbi, p01"},
        {"Association is not cause.", "a flag before an event is a time relation", "page, study tables"},
        {"Numbers do not compare across equipment.",
         "filters, delays, measuring site and compensation differ, mostly undocumented", "study tables"},
    };
    return i < COUNT(limits) ? &limits[i] : NULL;
}

const char *wording_story(enum wording_story i)
{
    static const char *const sentences[WORDING_STORIES] = {
        [WORDING_STEP] = "{when}: {what} {from} to {to}{unit}; {around}",
        [WORDING_KIND] = "{when}: {from} breaths to {to} breaths; {around}",
        [WORDING_MARK] = "{when}: mark {what}; {around}",
        [WORDING_BOTH] = "ineffective efforts (possible ones too) {before} per hour in the {before_min} before, {after} in the "
                         "{after_min} after (judged breaths {before_n}, {after_n})",
        [WORDING_ONE] = "ineffective efforts (possible ones too) {rate} per hour in the {rate_min} {rate_side} (judged breaths {rate_n}); "
                        "too few breaths could be judged in the {other_min} {other_side} ({other_n})",
        [WORDING_NONE] = "too few breaths could be judged for ineffective efforts (before {before_n}, after {after_n})",
    };
    return sentences[(int)i >= 0 && i < WORDING_STORIES ? (int)i : 0];
}

const char *wording_story_note(void)
{
    return "What changed, and ineffective efforts before and after: a relation in time, not why. Settings are read from the breaths "
           "themselves, not from the machine. Efforts of a size near what can be seen come and go with noise.";
}

const char *wording_index_short(void)
{
    return "(10 % split one published cohort; it is a line to read by, no limit)";
}

const char *wording_index_line(void)
{
    return "10 % split one published cohort of 62 patients (Thille 2006); in later and larger ones it had no relation to outcome. A line to "
           "read by, no limit, and nothing watches it.";
}

const char *wording_electrical(void)
{
    return "Connect only through an isolated, listen-only cable agreed with biomedical engineering.";
}

const char *wording_privacy(void)
{
    return "Use a code, not a name, in the header and in marks.";
}

const char *wording_export(void)
{
    return "Contains dates and times; not de-identified.";
}
