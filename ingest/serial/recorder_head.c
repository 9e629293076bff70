/* What the samples are: from the command line, from the source's head, into the log's head. */
#include "ingest/rfc3339.h"
#include "ingest/serial/recorder_internal.h"
#include "ingest/units.h"

#include <math.h>
#include <string.h>

int recorder_set_columns(struct recorder *r, struct err *e)
{
    r->columns = r->o.columns;
    for (size_t c = 0; c < r->columns; c++) {
        const enum channel ch = r->o.column[c];
        const char *text = r->info.channel[ch].unit;
        const struct unit *u = unit_find(text, strlen(text), channel_quantity(ch));
        if (!u)
            return err_set(e, TM_ERR_USAGE, NULL, 0, "units are UCUM codes, e.g. cm[H2O], hPa, L/s, L/min",
                           "the unit '%s' is not known for channel %s", text, channel_name(ch));
        r->column[c] = ch;
        r->factor[c] = u->factor;
        r->info.flow_uncalibrated |= u->uncalibrated;
        r->info.channel[ch].present = true;
    }
    if (!r->info.channel[CH_PAW].present || !r->info.channel[CH_FLOW].present)
        return err_set(e, TM_ERR_USAGE, NULL, 0, NULL, "a recording needs the channels paw and flow");
    if (r->info.rate_num < 1 || r->info.rate_den < 1)
        return err_set(e, TM_ERR_USAGE, NULL, 0, "say --rate", "a recording needs a rate");
    r->info.regular = true;
    return TM_OK;
}

/* What the command line says about the patient and the place stands over what the source says. */
static void overlay(struct recording_info *info, const struct recording_info *told)
{
#define TEXT(m) \
    if (told->m[0]) \
    memcpy(info->m, told->m, sizeof info->m)
    TEXT(subject_code);
    TEXT(age_band);
    TEXT(airway);
    TEXT(site);
    TEXT(session);
#undef TEXT
    if (told->sex)
        info->sex = told->sex;
    if (isfinite(told->height_cm))
        info->height_cm = told->height_cm;
    if (isfinite(told->tube_mm))
        info->tube_mm = told->tube_mm;
    if (isfinite(told->circuit_c_ml_cmh2o))
        info->circuit_c_ml_cmh2o = told->circuit_c_ml_cmh2o;
    if (told->patient != PATIENT_UNKNOWN)
        info->patient = told->patient;
    if (told->part)
        info->part = told->part;
}

static void adopt(struct recorder *r)
{
    const struct log_head *h = &r->head;
    r->info = h->info;
    r->info.regular = r->head_regular;
    overlay(&r->info, &r->o.info);
    r->columns = h->fields;
    for (size_t c = 0; c < h->fields; c++) {
        r->column[c] = h->field[c];
        r->factor[c] = h->factor[c];
    }
    r->adopted = *h;
    r->has_adopted = true;
}

void recorder_end_head(struct recorder *r)
{
    if (!r->in_head)
        return;
    r->in_head = false;
    char why[256], mend[256];
    r->head_regular = r->head.info.regular; /* the check below takes it away from arrival times */
    if (r->head_bad || !log_head_check(&r->head, why, mend)) {
        if (!r->head_bad)
            recorder_say(r, NOTICE_WRONG, "bad_head", r->head_line, mend, "%s", why);
        return;
    }
    if (r->o.columns > 0) {
        if (!r->said_head_unused)
            recorder_say(r, NOTICE_NOTE, "head_unused", r->head_line, NULL,
                         "the source sends a head, but --channels stands over it");
        r->said_head_unused = true;
        return;
    }
    if (!r->has_adopted) {
        adopt(r);
        return;
    }
    if (!log_head_same_channels(&r->adopted, &r->head))
        recorder_fail(r, TM_ERR_INPUT, "start a new recording",
                      "the source sends other channels, units or rate than before: the recording ends here");
}

void recorder_take_head(struct recorder *r, const struct wire_line *line)
{
    char why[256] = "", mend[256] = "";
    if (!r->in_head) {
        log_head_init(&r->head);
        r->in_head = true;
        r->head_bad = false;
        r->head_line = line->number;
    }
    const enum head_rc rc = log_head_line(&r->head, line->text, line->n, why, mend);
    if (rc != HEAD_LINE_BAD)
        return;
    r->head_bad = true;
    r->bad_lines++;
    recorder_say(r, NOTICE_WRONG, "bad_head", line->number, mend, "%s", why);
}

/* The wall time of recording time 0: as the source's head has it, else by the clock here. */
static void set_start(struct recorder *r, int64_t source_ns, int64_t arrival_ns)
{
    struct recording_info *info = &r->info;
    int places = 6;
    if (info->start_known && r->phase == PHASE_SOURCE) {
        info->start_unix_ns += source_ns - r->adopted.origin_ns;
        places = 9;
    } else {
        info->start_unix_ns = arrival_ns + r->wall_minus_mono_ns;
        info->start_unix_ns -= info->start_unix_ns % 1000;
        info->start_offset_min = r->o.start_offset_min;
    }
    char text[RFC3339_BUF];
    const size_t n = rfc3339_format(text, info->start_unix_ns, info->start_offset_min, places);
    memcpy(info->start, text, n + 1);
    info->start_known = true;
}

static int keep_bytes(void *user, const void *data, size_t n)
{
    struct recorder *r = user;
    return outfile_add(r->file, data, n);
}

void recorder_start_log(struct recorder *r, enum clock_kind clock, int64_t source_ns, int64_t arrival_ns)
{
    if (clock == CLOCK_HOST || !r->has_adopted)
        r->info.clock = clock;
    r->info.first_source_ns = source_ns;
    set_start(r, source_ns, arrival_ns);
    const struct log_write_opts o = {
        .write = keep_bytes,
        .user = r,
        .plain = r->o.plain,
        .caution = r->o.caution,
        .host_time = true,
        .exact = true,
    };
    struct err e;
    const int rc = log_writer_new(&r->writer, &r->info, &o, &e);
    if (rc != TM_OK)
        recorder_fail(r, rc, e.mend, e.what);
}
