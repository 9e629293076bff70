/* The options of `tidemark record`. */
#include "analyze/program/record.h"
#include "ingest/decimal.h"
#include "ingest/units.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

const struct opt record_opts_table[] = {
    {"output", 'o', "LOG", "", "", "The log to write. A name that ends in .gz is compressed. An existing file is never overwritten."},
    {"channels", 0, "LIST", "", "the source's head",
     "What the values of a line are, in order, with UCUM units and, after a colon, the gas condition: "
     "paw=cm[H2O],flow=L/min:BTPS. Not needed for a source that sends a head."},
    {"rate", 0, "HZ", "Hz", "the source's head", "Samples a second, also as a fraction: 100 or 1000/3."},
    {"clock", 0, "WHICH", "", "auto",
     "Whose times are kept: source (its time lines), host (arrival), or auto (source if a time line comes within 1.2 s)."},
    {"baud", 0, "N", "bit/s", "115200", "Speed of the serial port."},
    {"bits", 0, "N", "", "8", "Data bits, 5 to 8."},
    {"parity", 0, "P", "", "none", "none, odd or even."},
    {"stop", 0, "N", "", "1", "Stop bits, 1 or 2."},
    {"dtr", 0, NULL, "", "", "Assert DTR. Without it the line is taken away as soon as the port is open."},
    {"rts", 0, NULL, "", "", "Assert RTS. Without it the line is taken away as soon as the port is open."},
    {"session", 0, "CODE", "", "", "Code of the session, for the log's head."},
    {"subject", 0, "CODE", "", "", "Code of the subject, at most 16 of A-Z a-z 0-9 - _. A random code, never a name."},
    {"sex", 0, "S", "", "", "f or m, for predicted body weight."},
    {"height-cm", 0, "CM", "cm", "", "Height, for predicted body weight."},
    {"age", 0, "BAND", "", "", "Age band, e.g. 60-69 or 90+."},
    {"patient", 0, "SIZE", "", "", "adult, child or infant."},
    {"airway", 0, "KIND", "", "", "The airway, e.g. tube or mask."},
    {"tube-mm", 0, "MM", "mm", "", "Inner diameter of the tube."},
    {"site", 0, "SITE", "", "", "Where the sensor sits: airway, machine or mask."},
    {"yes", 'y', NULL, "", "", "Begin without asking. What is told at the start is told all the same."},
    {NULL, 0, NULL, NULL, NULL, NULL},
};

/* One "name=unit[:gas]". */
static int take_channel(const struct args *a, struct recorder_opts *o, const char *p, size_t n)
{
    const char *eq = memchr(p, '=', n);
    const enum channel c = eq ? channel_find(p, (size_t)(eq - p)) : CH_N;
    if (c == CH_N)
        return say_usage(a->cmd, "--channels: '%.*s' is not NAME=UNIT with a name of paw, flow, volume, pes, co2, spo2, fio2, phase",
                         (int)n, p);
    struct channel_info *info = &o->info.channel[c];
    const char *unit = eq + 1, *end = p + n;
    const char *colon = memchr(unit, ':', (size_t)(end - unit));
    const size_t unit_n = (size_t)((colon ? colon : end) - unit);
    const struct unit *u = unit_find(unit, unit_n, channel_quantity(c));
    if (!u) {
        (void)say_usage(a->cmd, "--channels: '%.*s' is no unit that is known for %s; these are:", (int)unit_n, unit,
                        channel_name(c));
        for (size_t k = 0; (u = unit_of_quantity(channel_quantity(c), k)); k++)
            say(a->cmd, "  %s=%s", channel_name(c), u->ucum);
        return EXIT_USAGE;
    }
    if (info->present || o->columns == RECORDER_COLUMNS_MAX)
        return say_usage(a->cmd, "--channels: %s stands twice", channel_name(c));
    info->present = true;
    (void)snprintf(info->unit, sizeof info->unit, "%s", u->ucum);
    if (colon) {
        static const char *const known[] = {"BTPS", "ATPS", "ATPD", "STPD"};
        for (size_t k = 0; k < 4; k++)
            if (strlen(known[k]) == (size_t)(end - colon - 1) && strncmp(known[k], colon + 1, 4) == 0)
                (void)snprintf(info->gas, sizeof info->gas, "%s", known[k]);
        if (!info->gas[0])
            return say_usage(a->cmd, "--channels: '%.*s' is not BTPS, ATPS, ATPD or STPD", (int)(end - colon - 1),
                             colon + 1);
    }
    o->column[o->columns++] = c;
    return EXIT_DONE;
}

static int take_channels(const struct args *a, struct recorder_opts *o)
{
    const char *p = args_value(a, "channels");
    while (p && *p) {
        const size_t n = strcspn(p, ",");
        const int rc = take_channel(a, o, p, n);
        if (rc != EXIT_DONE)
            return rc;
        p += n + (p[n] == ',');
    }
    if (o->columns > 0 && (!o->info.channel[CH_PAW].present || !o->info.channel[CH_FLOW].present))
        return say_usage(a->cmd, "--channels: a recording needs paw and flow");
    if (o->columns > 0 && !args_given(a, "rate"))
        return say_usage(a->cmd, "--channels needs --rate");
    if (o->columns == 0 && args_given(a, "rate"))
        return say_usage(a->cmd, "--rate needs --channels: without them the source's own head says both");
    return EXIT_DONE;
}

static int take_rate(const struct args *a, struct recording_info *info)
{
    const char *text = args_value(a, "rate");
    if (!text)
        return EXIT_DONE;
    const char *const end = text + strlen(text);
    uint64_t num = 0, den = 1;
    const char *p = decimal_scan_u64(text, end, &num);
    if (p && *p == '/')
        p = decimal_scan_u64(p + 1, end, &den);
    if (p != end || den < 1 || den > 1000000 || num < 25 * den || num > 1000 * den)
        return say_usage(a->cmd, "--rate %s is not between 25 and 1000 Hz, as a whole number or a fraction", text);
    info->rate_num = (int64_t)num;
    info->rate_den = (int64_t)den;
    return EXIT_DONE;
}

/* Words of a fixed list: index or -1, with the complaint said. */
static int word_of(const struct args *a, const char *name, const char *const *words)
{
    const char *text = args_value(a, name);
    for (int i = 0; words[i]; i++)
        if (strcmp(text, words[i]) == 0)
            return i;
    (void)say_usage(a->cmd, "--%s does not know '%s'", name, text);
    return -1;
}

static int take_port(const struct args *a, struct recorder_opts *o, struct port_opts *port)
{
    static const char *const parities[] = {"none", "odd", "even", NULL};
    static const char *const clocks[] = {"auto", "source", "host", NULL};
    long baud = port->baud, bits = port->bits, stop = port->stop;
    if (args_integer(a, "baud", 50, 4000000, &baud) != EXIT_DONE ||
        args_integer(a, "bits", 5, 8, &bits) != EXIT_DONE || args_integer(a, "stop", 1, 2, &stop) != EXIT_DONE)
        return EXIT_USAGE;
    port->baud = (int)baud;
    port->bits = (int)bits;
    port->stop = (int)stop;
    port->dtr = args_given(a, "dtr");
    port->rts = args_given(a, "rts");
    if (args_given(a, "parity")) {
        const int i = word_of(a, "parity", parities);
        if (i < 0)
            return EXIT_USAGE;
        port->parity = (enum port_parity)i;
    }
    if (args_given(a, "clock")) {
        const int i = word_of(a, "clock", clocks);
        if (i < 0)
            return EXIT_USAGE;
        o->clock = (enum recorder_clock)i;
    }
    return EXIT_DONE;
}

/* A code or word for the head: letters, digits, - _ + only, so that no name with a blank or a date with
 * slashes slips in. */
static int take_word(const struct args *a, const char *name, char *dst, size_t cap)
{
    const char *text = args_value(a, name);
    if (!text)
        return EXIT_DONE;
    size_t n = 0;
    while (isalnum((unsigned char)text[n]) || (text[n] && strchr("-_+", text[n])))
        n++;
    if (text[n] || n == 0 || n >= cap)
        return say_usage(a->cmd, "--%s takes at most %zu of A-Z a-z 0-9 - _, not '%s'", name, cap - 1, text);
    memcpy(dst, text, n + 1);
    return EXIT_DONE;
}

static int take_head(const struct args *a, struct recording_info *info)
{
    static const char *const sexes[] = {"f", "m", NULL};
    static const char *const sizes[] = {"adult", "child", "infant", NULL};
    static const char *const sites[] = {"airway", "machine", "mask", NULL};
    if (take_word(a, "session", info->session, sizeof info->session) != EXIT_DONE ||
        take_word(a, "subject", info->subject_code, sizeof info->subject_code) != EXIT_DONE ||
        take_word(a, "age", info->age_band, sizeof info->age_band) != EXIT_DONE ||
        take_word(a, "airway", info->airway, sizeof info->airway) != EXIT_DONE ||
        args_number(a, "height-cm", 20, 260, &info->height_cm) != EXIT_DONE ||
        args_number(a, "tube-mm", 1, 15, &info->tube_mm) != EXIT_DONE)
        return EXIT_USAGE;
    if (args_given(a, "sex")) {
        if (word_of(a, "sex", sexes) < 0)
            return EXIT_USAGE;
        info->sex = args_value(a, "sex")[0];
    }
    if (args_given(a, "patient")) {
        const int i = word_of(a, "patient", sizes);
        if (i < 0)
            return EXIT_USAGE;
        info->patient = (enum patient_size)(PATIENT_ADULT + i);
    }
    if (args_given(a, "site")) {
        if (word_of(a, "site", sites) < 0)
            return EXIT_USAGE;
        (void)snprintf(info->site, sizeof info->site, "%s", args_value(a, "site"));
    }
    return EXIT_DONE;
}

/* Minutes that local time is east of UTC now. */
static int local_offset_min(void)
{
    const time_t now = time(NULL);
    struct tm utc, local;
    if (!gmtime_r(&now, &utc) || !localtime_r(&now, &local))
        return 0;
    int days = local.tm_yday - utc.tm_yday;
    if (local.tm_year != utc.tm_year)
        days = local.tm_year > utc.tm_year ? 1 : -1;
    return days * 1440 + (local.tm_hour - utc.tm_hour) * 60 + local.tm_min - utc.tm_min;
}

int record_parse(const struct args *a, struct recorder_opts *o, struct port_opts *port)
{
    recorder_opts_defaults(o);
    port_opts_defaults(port);
    o->path = args_value(a, "output");
    if (!o->path || !o->path[0])
        return say_usage(a->cmd, "-o LOG is missing");
    if (strcmp(o->path, "-") == 0)
        return say_usage(a->cmd, "-o needs a file: a recording to standard output could not be made durable");
    const size_t n = strlen(o->path);
    o->plain = n < 3 || strcmp(o->path + n - 3, ".gz") != 0;
    o->start_offset_min = local_offset_min();
    if (take_channels(a, o) != EXIT_DONE || take_rate(a, &o->info) != EXIT_DONE ||
        take_port(a, o, port) != EXIT_DONE || take_head(a, &o->info) != EXIT_DONE)
        return EXIT_USAGE;
    return EXIT_DONE;
}
