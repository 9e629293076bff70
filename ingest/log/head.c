#include "ingest/log/head.h"

#include "ingest/decimal.h"
#include "ingest/log/head_words.h"
#include "ingest/log/step.h"
#include "ingest/rfc3339.h"
#include "ingest/units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static enum head_rc bad(char why[256], char mend[256], const char *mend_text, const char *fmt, const char *arg)
{
    (void)snprintf(why, 256, fmt, arg);
    (void)snprintf(mend, 256, "%s", mend_text);
    return HEAD_LINE_BAD;
}

static enum head_rc on_version(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w;
    if (!head_next_word(&ws, &w) || w.key)
        return bad(why, mend, "the first line reads %tidemark 1", "the version is missing%s", "");
    if (strcmp(w.value, "1") != 0)
        return bad(why, mend, "read it with the release that wrote it, or a later one",
                   "version %.40s of the format is not known to this release", w.value);
    h->has_version = true;
    return HEAD_LINE_OK;
}

static enum head_rc on_channel(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w;
    if (!head_next_word(&ws, &w) || w.key)
        return bad(why, mend, "", "a channel line has no name%s", "");
    if (h->fields == LINE_FIELDS)
        return bad(why, mend, "", "more than 16 channels%s", "");
    enum channel c = channel_find(w.value, strlen(w.value));
    size_t at = h->fields++;
    h->field[at] = c;
    h->factor[at] = 1.0;
    if (c == CH_N)
        return HEAD_LINE_UNKNOWN;
    struct channel_info *ch = &h->info.channel[c];
    if (ch->present)
        return bad(why, mend, "", "channel %.40s stands twice", w.value);
    ch->present = true;
    while (head_next_word(&ws, &w)) {
        uint64_t places;
        if (head_is_key(&w, "unit")) {
            const struct unit *u = unit_find_ucum(w.value, strlen(w.value), channel_quantity(c));
            if (!u)
                return bad(why, mend, "units are UCUM codes, e.g. cm[H2O], hPa, L/s, L/min",
                           "the unit %.40s is not known for this channel", w.value);
            head_copy(ch->unit, sizeof ch->unit, u->ucum);
            h->factor[at] = u->factor;
            h->info.flow_uncalibrated |= u->uncalibrated;
        } else if (head_is_key(&w, "gas")) {
            head_copy(ch->gas, sizeof ch->gas, w.value);
        } else if (head_is_key(&w, "decimals")) {
            size_t n = strlen(w.value);
            if (decimal_scan_u64(w.value, w.value + n, &places) != w.value + n || places > DECIMAL_PLACES_MAX)
                return bad(why, mend, "", "decimals=%.40s is not 0 to 18", w.value);
            ch->decimals = (int)places;
        }
    }
    if (!ch->unit[0])
        return bad(why, mend, "add unit= with a UCUM code", "channel %.40s has no unit", channel_name(c));
    return HEAD_LINE_OK;
}

static enum head_rc on_rate(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w = {0};
    uint64_t num = 0, den = 1;
    bool good = head_next_word(&ws, &w) && !w.key;
    if (good) {
        const char *end = w.value + strlen(w.value);
        const char *p = decimal_scan_u64(w.value, end, &num);
        if (p && p < end && *p == '/')
            p = decimal_scan_u64(p + 1, end, &den);
        good = p == end && num >= 1 && den >= 1 && num <= (uint64_t)RATE_NUM_MAX && den <= (uint64_t)RATE_DEN_MAX;
    }
    if (!good)
        return bad(why, mend, "a rate is a fraction in Hz, e.g. 100/1 or 1000/3", "the rate %.40s can't be used",
                   w.value);
    h->info.rate_num = (int64_t)num;
    h->info.rate_den = (int64_t)den;
    h->info.regular = true;
    while (head_next_word(&ws, &w)) {
        int64_t ns;
        const char *end = w.value + strlen(w.value);
        if (head_is_key(&w, "steps"))
            h->info.regular = strcmp(w.value, "irregular") != 0;
        else if (head_is_key(&w, "gap_s") && decimal_scan_ns(w.value, end, &ns) == end && ns > 0)
            h->info.gap_limit_ns = ns;
    }
    return HEAD_LINE_OK;
}

static enum head_rc on_clock(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w = {0};
    (void)head_next_word(&ws, &w);
    if (strcmp(w.value, "source") == 0)
        h->info.clock = CLOCK_SOURCE;
    else if (strcmp(w.value, "host") == 0)
        h->info.clock = CLOCK_HOST;
    else if (strcmp(w.value, "rate") == 0)
        h->info.clock = CLOCK_RATE_ONLY;
    else
        return bad(why, mend, "source, host or rate", "the clock %.40s is not known", w.value);
    return HEAD_LINE_OK;
}

static enum head_rc on_origin(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w = {0};
    (void)head_next_word(&ws, &w);
    const char *end = w.value + strlen(w.value);
    if (decimal_scan_ns(w.value, end, &h->origin_ns) != end)
        return bad(why, mend, "seconds with up to 9 decimals", "the origin %.40s is no time", w.value);
    h->has_origin = true;
    return HEAD_LINE_OK;
}

static enum head_rc on_start(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    const char *p = ws.p;
    while (p < ws.end && *p == ' ')
        p++;
    size_t n = (size_t)(ws.end - p);
    struct recording_info *in = &h->info;
    if (n >= sizeof in->start || !rfc3339_parse(p, n, &in->start_unix_ns, &in->start_offset_min)) {
        char text[48];
        (void)snprintf(text, sizeof text, "%.*s", n < 40 ? (int)n : 40, p);
        return bad(why, mend, "RFC 3339 with an offset, e.g. 2026-03-04T22:30:00+01:00",
                   "the start %.40s is no time", text);
    }
    memcpy(in->start, p, n);
    in->start[n] = '\0';
    in->start_known = true;
    return HEAD_LINE_OK;
}

static enum head_rc on_session(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w;
    uint64_t part;
    (void)why;
    (void)mend;
    while (head_next_word(&ws, &w)) {
        const char *end = w.value + strlen(w.value);
        if (head_is_key(&w, "code"))
            head_copy(h->info.session, sizeof h->info.session, w.value);
        else if (head_is_key(&w, "part") && decimal_scan_u64(w.value, end, &part) == end && part < 1000000)
            h->info.part = (long)part;
    }
    return HEAD_LINE_OK;
}

static enum head_rc on_subject(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w;
    (void)why;
    (void)mend;
    while (head_next_word(&ws, &w)) {
        if (head_is_key(&w, "code"))
            head_copy(h->info.subject_code, sizeof h->info.subject_code, w.value);
        else if (head_is_key(&w, "sex") && (strcmp(w.value, "f") == 0 || strcmp(w.value, "m") == 0))
            h->info.sex = w.value[0];
        else if (head_is_key(&w, "height_cm"))
            (void)head_number(w.value, &h->info.height_cm);
        else if (head_is_key(&w, "age"))
            head_copy(h->info.age_band, sizeof h->info.age_band, w.value);
    }
    return HEAD_LINE_OK;
}

static enum head_rc on_patient(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w = {0};
    (void)why;
    (void)mend;
    (void)head_next_word(&ws, &w);
    h->info.patient = strcmp(w.value, "adult") == 0    ? PATIENT_ADULT
                      : strcmp(w.value, "child") == 0  ? PATIENT_CHILD
                      : strcmp(w.value, "infant") == 0 ? PATIENT_INFANT
                                                       : PATIENT_UNKNOWN;
    return h->info.patient == PATIENT_UNKNOWN ? HEAD_LINE_UNKNOWN : HEAD_LINE_OK;
}

/* airway, site and circuit: a bare word or items. */
static enum head_rc on_place(struct log_head *h, struct head_words ws, char why[256], char mend[256])
{
    struct head_word w;
    (void)why;
    (void)mend;
    while (head_next_word(&ws, &w)) {
        if (head_is_key(&w, "kind"))
            head_copy(h->info.airway, sizeof h->info.airway, w.value);
        else if (head_is_key(&w, "tube_mm"))
            (void)head_number(w.value, &h->info.tube_mm);
        else if (head_is_key(&w, "c_ml_cmh2o"))
            (void)head_number(w.value, &h->info.circuit_c_ml_cmh2o);
        else if (!w.key)
            head_copy(h->info.site, sizeof h->info.site, w.value);
    }
    return HEAD_LINE_OK;
}

static const struct {
    const char *name;
    enum head_rc (*fn)(struct log_head *h, struct head_words ws, char why[256], char mend[256]);
} lines[] = {
    {"tidemark", on_version}, {"channel", on_channel}, {"rate", on_rate},       {"clock", on_clock},
    {"origin", on_origin},    {"start", on_start},     {"session", on_session}, {"subject", on_subject},
    {"patient", on_patient},  {"airway", on_place},    {"site", on_place},      {"circuit", on_place},
};

void log_head_init(struct log_head *h)
{
    memset(h, 0, sizeof *h);
    recording_info_defaults(&h->info);
}

enum head_rc log_head_line(struct log_head *h, const char *p, size_t n, char why[256], char mend[256])
{
    const char *end = p + n;
    const char *name = ++p;
    while (p < end && *p != ' ')
        p++;
    size_t name_n = (size_t)(p - name);
    struct head_words ws = {p, end};
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        if (strlen(lines[i].name) == name_n && memcmp(lines[i].name, name, name_n) == 0)
            return lines[i].fn(h, ws, why, mend);
    return name_n == 7 && memcmp(name, "caution", 7) == 0 ? HEAD_LINE_OK : HEAD_LINE_UNKNOWN;
}

bool log_head_check(struct log_head *h, char why[256], char mend[256])
{
    struct recording_info *in = &h->info;
    const char *missing = !h->has_version               ? "%tidemark 1"
                          : !in->channel[CH_PAW].present  ? "%channel paw"
                          : !in->channel[CH_FLOW].present ? "%channel flow"
                          : in->rate_num == 0             ? "%rate"
                                                          : NULL;
    if (missing) {
        (void)bad(why, mend, "see docs/log-format.md", "the head has no line %s", missing);
        return false;
    }
    if (in->clock == CLOCK_HOST)
        in->regular = false; /* arrival times, fitted: near the rate, not on it */
    int64_t step_ns = nominal_ns(1, in->rate_num, in->rate_den);
    if (in->gap_limit_ns == 0)
        in->gap_limit_ns = gap_limit_of(in->regular, step_ns);
    return true;
}

bool log_head_same_channels(const struct log_head *a, const struct log_head *b)
{
    if (a->fields != b->fields)
        return false;
    for (size_t i = 0; i < a->fields; i++)
        if (a->field[i] != b->field[i] || a->factor[i] != b->factor[i])
            return false;
    return a->info.rate_num == b->info.rate_num && a->info.rate_den == b->info.rate_den &&
           a->info.clock == b->info.clock;
}
