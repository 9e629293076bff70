#include "ingest/log/head_write.h"

#include "ingest/decimal.h"
#include "ingest/log/line.h"
#include "ingest/units.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct text {
    char *buf;
    size_t cap, n;
    size_t line; /* where the line under way began */
};

static void add(struct text *t, const char *fmt, ...) PRINTF_LIKE(2, 3);
static void add(struct text *t, const char *fmt, ...)
{
    va_list ap;
    va_start(ap, fmt);
    int n = vsnprintf(t->buf + t->n, t->cap - t->n, fmt, ap);
    va_end(ap);
    t->n += n < 0 ? 0 : (size_t)n < t->cap - t->n ? (size_t)n : t->cap - t->n - 1;
}

/* " key=value", encoded; nothing for an empty value. */
static void add_text(struct text *t, const char *key, const char *value)
{
    char enc[3 * 64 + 1];
    if (value[0] == '\0')
        return;
    (void)line_encode(enc, sizeof enc, value);
    add(t, " %s=%s", key, enc);
}

/* " key=number" with as few decimals as lose nothing; nothing for NAN. */
static void add_number(struct text *t, const char *key, double v)
{
    if (!isfinite(v))
        return;
    char num[DECIMAL_BUF];
    size_t n = 0;
    for (int places = 0; places <= DECIMAL_PLACES_MAX; places++) {
        double back = 0;
        n = decimal_format(num, v, places);
        if (decimal_scan(num, num + n, &back) == num + n && back == v)
            break;
    }
    add(t, " %s=%.*s", key, (int)n, num);
}

static void end_line(struct text *t)
{
    if (t->n + 1 >= t->cap) {
        t->n = t->line; /* no room: not half a line */
    } else {
        t->buf[t->n++] = '\n';
        t->line = t->n;
    }
    t->buf[t->n] = '\0';
}

static void add_channels(struct text *t, const struct recording_info *info, const int decimals[CH_N])
{
    for (int c = 0; c < CH_N; c++) {
        if (!info->channel[c].present)
            continue;
        add(t, "%%channel %s", channel_name((enum channel)c));
        add_text(t, "unit", info->channel[c].unit);
        add(t, " decimals=%d", decimals[c]);
        add_text(t, "gas", info->channel[c].gas);
        end_line(t);
    }
}

static void add_times(struct text *t, const struct recording_info *info, int64_t origin_ns)
{
    static const char *const clocks[] = {
        [CLOCK_SOURCE] = "source", [CLOCK_HOST] = "host", [CLOCK_RATE_ONLY] = "rate"};
    char num[24];
    add(t, "%%rate %lld/%lld steps=%s", (long long)info->rate_num, (long long)info->rate_den,
        info->regular ? "regular" : "irregular");
    if (info->gap_limit_ns > 0) {
        size_t n = decimal_format_ns(num, info->gap_limit_ns);
        add(t, " gap_s=%.*s", (int)n, num);
    }
    end_line(t);
    add(t, "%%clock %s", clocks[info->clock]);
    end_line(t);
    size_t n = decimal_format_ns(num, origin_ns);
    add(t, "%%origin %.*s", (int)n, num);
    end_line(t);
    if (info->start_known && info->start[0]) {
        add(t, "%%start %s", info->start);
        end_line(t);
    }
}

static void add_patient(struct text *t, const struct recording_info *info)
{
    static const char *const sizes[] = {[PATIENT_UNKNOWN] = "",
                                        [PATIENT_ADULT] = "adult",
                                        [PATIENT_CHILD] = "child",
                                        [PATIENT_INFANT] = "infant"};
    if (info->session[0] || info->part > 0) {
        add(t, "%%session");
        add_text(t, "code", info->session);
        if (info->part > 0)
            add(t, " part=%ld", info->part);
        end_line(t);
    }
    if (info->subject_code[0] || info->sex || isfinite(info->height_cm) || info->age_band[0]) {
        char sex[2] = {info->sex, '\0'};
        add(t, "%%subject");
        add_text(t, "code", info->subject_code);
        add_text(t, "sex", sex);
        add_number(t, "height_cm", info->height_cm);
        add_text(t, "age", info->age_band);
        end_line(t);
    }
    if (info->patient != PATIENT_UNKNOWN) {
        add(t, "%%patient %s", sizes[info->patient]);
        end_line(t);
    }
    if (info->airway[0] || isfinite(info->tube_mm)) {
        add(t, "%%airway");
        add_text(t, "kind", info->airway);
        add_number(t, "tube_mm", info->tube_mm);
        end_line(t);
    }
    if (info->site[0]) {
        add(t, "%%site %s", info->site);
        end_line(t);
    }
    if (isfinite(info->circuit_c_ml_cmh2o)) {
        add(t, "%%circuit");
        add_number(t, "c_ml_cmh2o", info->circuit_c_ml_cmh2o);
        end_line(t);
    }
}

size_t head_write(char *buf, size_t cap, const struct recording_info *info, const int decimals[CH_N],
                  int64_t origin_ns, const char *caution)
{
    struct text t = {.buf = buf, .cap = cap};
    add(&t, "%%tidemark 1");
    end_line(&t);
    if (caution && caution[0]) {
        size_t from = t.n;
        add(&t, "%%caution %.1000s", caution);
        for (size_t i = from; i < t.n; i++)
            if ((unsigned char)t.buf[i] < ' ')
                t.buf[i] = ' ';
        end_line(&t);
    }
    add_channels(&t, info, decimals);
    add_times(&t, info, origin_ns);
    add_patient(&t, info);
    return t.n;
}
