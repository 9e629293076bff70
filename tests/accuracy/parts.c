#include "tests/accuracy/parts.h"

#include <math.h>
#include <string.h>

bool part_judged(const struct record *rec, const struct patient *p, long unused)
{
    (void)rec;
    (void)unused;
    return p->judged;
}

bool part_patient(const struct record *rec, const struct patient *p, long number)
{
    (void)rec;
    return p->number == (size_t)number;
}

static bool by_stratum(const struct record *rec, const struct patient *p, long s)
{
    (void)rec;
    return p->stratum == (enum stratum)s && !p->sensor_errors && p->rate_hz >= 50;
}

static bool by_rate(const struct record *rec, const struct patient *p, long hz)
{
    (void)rec;
    return lround(p->rate_hz) == hz && p->stratum != STRATUM_HEAVY && !p->sensor_errors;
}

static bool by_control(const struct record *rec, const struct patient *p, long letter)
{
    return p->judged && rec->control[0] == (char)letter;
}

/* From `low` to the next limit, in whole percent. */
static bool by_leak(const struct record *rec, const struct patient *p, long low)
{
    double high = low == 0 ? 2 : low == 2 ? 8 : low == 8 ? 15 : 1000;
    double leak = rec->leak_pct < 0 ? 0 : rec->leak_pct;
    return !p->sensor_errors && leak >= (double)low && leak < high;
}

static bool by_ward(const struct record *rec, const struct patient *p, long ward)
{
    (void)rec;
    return p->judged && p->ward == (int)ward;
}

static bool with_sensor_errors(const struct record *rec, const struct patient *p, long unused)
{
    (void)rec;
    (void)unused;
    return p->sensor_errors;
}

static const struct part parts[] = {
    {"clean and ordinary", part_judged, 0},
    {"clean", by_stratum, STRATUM_CLEAN},
    {"ordinary", by_stratum, STRATUM_ORDINARY},
    {"heavy", by_stratum, STRATUM_HEAVY},
    {"25 Hz (ordinary)", by_rate, 25},
    {"50 Hz", by_rate, 50},
    {"100 Hz", by_rate, 100},
    {"200 Hz", by_rate, 200},
    {"333 1/3 Hz", by_rate, 333},
    {"breaths: volume control", by_control, 'v'},
    {"breaths: pressure control", by_control, 'p'},
    {"breaths: no control", by_control, 'n'},
    {"patients: volume control, passive", by_ward, 0},
    {"patients: volume control, assisted", by_ward, 1},
    {"patients: pressure control, passive", by_ward, 2},
    {"patients: pressure control, assisted", by_ward, 3},
    {"patients: pressure support", by_ward, 4},
    {"patients: unassisted at CPAP", by_ward, 5},
    {"leak under 2 %", by_leak, 0},
    {"leak 2 to 8 %", by_leak, 2},
    {"leak 8 to 15 %", by_leak, 8},
    {"leak over 15 %", by_leak, 15},
    {"sensor gain and zero off", with_sensor_errors, 0},
};

size_t parts_count(void)
{
    return sizeof parts / sizeof *parts;
}

const struct part *parts_get(size_t i)
{
    return &parts[i];
}

/* Volumes, pressures, compliance and resistance: from 50 Hz, leak under 15 %. */
static bool for_values(const struct record *rec, const struct patient *p, long stratum)
{
    return p->judged && p->rate_hz >= 50 && !(rec->leak_pct >= 15) && (stratum < 0 || p->stratum == (enum stratum)stratum);
}

static bool for_onsets(const struct record *rec, const struct patient *p, long unused)
{
    (void)rec;
    (void)unused;
    return p->judged && p->rate_hz >= 100;
}

static double share(size_t x, size_t n)
{
    return n ? 100 * (double)x / (double)n : (double)NAN;
}

struct bars {
    struct bar *v;
    size_t n;
};

static void add(struct bars *b, const char *what, double measured, double limit, bool at_least, int decimals)
{
    bool held = at_least ? measured >= limit : measured <= limit;
    b->v[b->n++] = (struct bar){what, measured, limit, at_least, decimals, held};
}

static void add_segmentation(struct bars *b, const struct sum *s, bool clean)
{
    add(b, clean ? "sensitivity, clean, %" : "sensitivity, ordinary, %", share(s->hit, s->hit + s->miss),
        clean ? 99.9 : 99, true, 3);
    add(b, clean ? "positive predictive value, clean, %" : "positive predictive value, ordinary, %",
        share(s->hit, s->hit + s->extra), clean ? 99.9 : 99, true, 3);
}

static void add_onsets(struct bars *b, struct sum *s)
{
    add(b, "onset, machine breaths, from 100 Hz, median, ms", 1000 * numbers_quantile(&s->onset_machine, 0.5), 10, false, 1);
    add(b, "onset, machine breaths, from 100 Hz, 95th percentile, ms", 1000 * numbers_quantile(&s->onset_machine, 0.95), 30,
        false, 1);
    add(b, "onset, unassisted, from 100 Hz, 95th percentile, ms", 1000 * numbers_quantile(&s->onset_unassisted, 0.95), 60,
        false, 1);
    add(b, "onset, unassisted with the heart, from 100 Hz, 95th percentile, ms",
        1000 * numbers_quantile(&s->onset_heart, 0.95), 100, false, 1);
}

static void add_agreement(struct bars *b, const char *bias, const char *limits, const struct numbers *s, double bias_max,
                          double limits_max)
{
    add(b, bias, fabs(numbers_mean(s)), bias_max, false, 2);
    add(b, limits, 1.96 * numbers_sd(s), limits_max, false, 2);
}

static void add_values(struct bars *b, const struct sum *s)
{
    add_agreement(b, "VTi, bias, %", "VTi, 95 % limits, +- %", &s->vti, 1, 2);
    add_agreement(b, "VTe, bias, %", "VTe, 95 % limits, +- %", &s->vte, 1, 3);
    add_agreement(b, "PIP, bias, cmH2O", "PIP, 95 % limits, +- cmH2O", &s->pip, 0.3, 0.5);
    add(b, "PEEP, bias, cmH2O", fabs(numbers_mean(&s->peep)), 0.3, false, 2);
    add(b, "mean pressure, bias, cmH2O", fabs(numbers_mean(&s->pmean)), 0.1, false, 3);
    add(b, "compliances wrong by over 20 %, % of all given", share(s->c_wrong, s->c_all), 1, false, 2);
    add(b, "resistances wrong by over 20 %, % of all given", share(s->r_wrong, s->r_all), 3, false, 2);
}

size_t bars_judge(struct bar *bars, const struct records *r, const struct patient *patients)
{
    struct bars b = {bars, 0};
    struct sum s;
    int rc = 0;
    for (long stratum = STRATUM_CLEAN; stratum <= STRATUM_ORDINARY; stratum++) {
        rc |= sum_part(&s, r, patients, for_values, stratum);
        add_segmentation(&b, &s, stratum == STRATUM_CLEAN);
        add(&b, stratum == STRATUM_CLEAN ? "compliance given, of eligible passive breaths, clean, %"
                                         : "compliance given, of eligible passive breaths, ordinary, %",
            share(s.given, s.eligible), stratum == STRATUM_CLEAN ? 95 : 80, true, 1);
        sum_free(&s);
    }
    rc |= sum_part(&s, r, patients, for_onsets, 0);
    add_onsets(&b, &s);
    sum_free(&s);
    rc |= sum_part(&s, r, patients, for_values, -1);
    add_values(&b, &s);
    sum_free(&s);
    return rc ? 0 : b.n;
}
