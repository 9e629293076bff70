/* Outputs of one recording: the tables' folder, summary, dictionary, glance. */
#include "analyze/program/night_internal.h"
#include "analyze/program/summary.h"
#include "analyze/tables/dictionary.h"
#include "ingest/gas.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char *const names[] = {"breaths.csv", "flags.csv",       "events.csv",   "hours.csv", "trials.csv",
                                    "limits.csv",  "dictionary.json", "summary.json", NULL};

int night_memory(struct night_run *r)
{
    say(r->n.o->cmd, "out of memory");
    return EXIT_NOTHING;
}

static int output_failed(struct night_run *r)
{
    struct err e;
    folder_why(r->dir, &e);
    if (!e.what[0])
        return night_memory(r);
    say_error(r->n.o->cmd, &e);
    return EXIT_OUTPUT;
}

int night_status(struct night_run *r, int rc)
{
    if (rc == TM_OK)
        return EXIT_DONE;
    if (rc == NIGHT_ENOUGH) {
        r->enough = true;
        return EXIT_DONE;
    }
    if (r->output_failed && r->dir)
        return output_failed(r);
    if (rc == TM_ERR_MEMORY)
        return night_memory(r);
    say(r->n.o->cmd, "%s: the analysis stopped (code %d)", r->n.o->path, rc);
    return EXIT_NOTHING;
}

static int open_tables(struct night_run *r)
{
    const struct night_opts *o = r->n.o;
    struct err e;
    int rc = folder_open(&r->dir, o->out, names, o->force, &e);
    for (int t = 0; rc == TM_OK && t < TABLE_N; t++) {
        rc = folder_file(r->dir, table_get((enum table_id)t)->file, &r->file[t], &e);
        if (rc == TM_OK && cells_new(&r->cells[t], part_write, r->file[t]) != TM_OK)
            return night_memory(r);
        if (rc == TM_OK && csv_header(r->cells[t], table_get((enum table_id)t)) != TM_OK)
            return output_failed(r);
    }
    if (rc == TM_OK)
        return EXIT_DONE;
    say_error(o->cmd, &e);
    return rc == TM_ERR_USAGE ? EXIT_USAGE : EXIT_OUTPUT;
}

static void describe_file(struct summary_file *s, const struct part_file *f, uint64_t rows)
{
    s->name = part_name(f);
    part_sha256(f, s->sha256);
    s->bytes = part_bytes(f);
    s->rows = rows;
}

/* One JSON document as the next file of the folder. */
static int put_json(struct night_run *r, const char *name, json_t *j, struct part_file **f)
{
    struct err e;
    if (folder_file(r->dir, name, f, &e) != TM_OK)
        return output_failed(r);
    if (json_write(j, part_write, *f) != TM_OK || part_close(*f) != TM_OK)
        return output_failed(r);
    return EXIT_DONE;
}

/* Closes the tables and writes what stands beside them. *sum is the summary, for --json. */
static int close_tables(struct night_run *r, json_t **sum)
{
    struct summary_file files[TABLE_N + 1];
    size_t n = 0;
    for (int t = 0; r->dir && t < TABLE_N; t++) {
        if (cells_flush(r->cells[t]) != TM_OK || part_close(r->file[t]) != TM_OK)
            return output_failed(r);
        describe_file(&files[n++], r->file[t], r->rows[t]);
    }
    if (r->dir) {
        struct part_file *f = NULL;
        json_t *d = dictionary_json();
        const int status = put_json(r, "dictionary.json", d, &f);
        json_decref(d);
        if (status != EXIT_DONE)
            return status;
        describe_file(&files[n++], f, 0);
    }
    *sum = summary_json(&r->n, files, n);
    if (!*sum)
        return night_memory(r);
    if (!r->dir)
        return EXIT_DONE;
    struct part_file *f = NULL;
    const int status = put_json(r, "summary.json", *sum, &f);
    if (status != EXIT_DONE)
        return status;
    return folder_commit(r->dir) == TM_OK ? EXIT_DONE : output_failed(r);
}

static int finish(struct night_run *r)
{
    const struct night_opts *o = r->n.o;
    struct err e;
    if (source_sha256(r->source, r->n.sha256, &e) != TM_OK) {
        say_error(o->cmd, &e);
        return EXIT_NOTHING;
    }
    r->n.format = source_format(r->source);
    r->n.closed_well = source_closed_well(r->source);
    json_t *sum = NULL;
    int status = close_tables(r, &sum);
    if (status == EXIT_DONE && o->glance)
        glance_print(&r->n);
    if (status == EXIT_DONE && o->json && json_write(sum, say_bytes, NULL) != TM_OK)
        status = EXIT_OUTPUT;
    json_decref(sum);
    if (status == EXIT_DONE && r->n.tally.breaths == 0)
        say(o->cmd, o->from || o->to ? "%s: no breath was found between --from and --to" : "%s: no breath was found in it", o->path);
    return status;
}

/* --btps: the factor from the recording's gas condition, or from --gas where it names none. */
static int prepare_gas(struct night_run *r)
{
    const struct night_opts *o = r->n.o;
    const char *stated = r->n.info->channel[CH_FLOW].gas, *gas = o->gas ? o->gas : stated;
    struct err e;
    if (!o->btps)
        return EXIT_DONE;
    if (o->gas && stated[0] && strcmp(o->gas, stated) != 0)
        return say_usage(o->cmd, "--gas %s: the recording says %s", o->gas, stated);
    if (!gas[0])
        return say_usage(o->cmd, "--btps: the recording names no gas condition; --gas says it: ATPS, ATPD, STPD or BTPS");
    if (r->n.info->flow_uncalibrated)
        return say_usage(o->cmd, "--btps: flow is uncalibrated");
    if (gas_factor_to_btps(gas, o->temp_c, o->baro_hpa, &r->n.btps_factor, &e) != TM_OK) {
        say_error(o->cmd, &e);
        return EXIT_USAGE;
    }
    r->warm = calloc(1, sizeof *r->warm);
    if (!r->warm)
        return night_memory(r);
    say(o->cmd, "%s: flow and volume are multiplied by %.4f, from %s to BTPS", o->path, r->n.btps_factor, gas);
    return EXIT_DONE;
}

static int open_source(struct night_run *r)
{
    const struct night_opts *o = r->n.o;
    const struct notice_sink sink = {notices_hear, r->notices};
    struct err e;
    const int rc = source_open(&r->source, o->path, &o->import, &sink, &e);
    if (rc != TM_OK) {
        say_error(o->cmd, &e);
        return status_of(rc);
    }
    const struct recording_info *info = source_info(r->source);
    r->n.info = info;
    r->n.pbw = pbw_of(isfinite(o->height_cm) ? o->height_cm : info->height_cm, o->sex ? o->sex : info->sex,
                      o->patient != PATIENT_UNKNOWN ? o->patient : info->patient);
    r->x.info = info;
    const int gas = prepare_gas(r);
    if (gas != EXIT_DONE)
        return gas;
    r->x.no_pbw = isfinite(r->n.pbw.kg) ? WHY_no_height : r->n.pbw.why;
    if (isfinite(r->n.pbw.kg) && r->n.pbw.why == WHY_height_range)
        say(o->cmd, "%s: the height is under %.1f cm, outside the plain range of the formula for predicted body weight", o->path,
            PBW_HEIGHT_PLAIN_CM);
    return EXIT_DONE;
}

static void release(struct night_run *r)
{
    engine_destroy(r->engine);
    hours_destroy(r->hours);
    check_destroy(r->check);
    marks_free(r->marks);
    free(r->split);
    free(r->warm);
    for (int t = 0; t < TABLE_N; t++)
        cells_destroy(r->cells[t]);
    folder_close(r->dir);
    source_close(r->source);
    tally_release(&r->n.tally);
    notices_free(r->notices);
    free(r);
}

int night_run(const struct night_opts *o)
{
    struct night_run *r = calloc(1, sizeof *r);
    if (!r) {
        say(o->cmd, "out of memory");
        return EXIT_NOTHING;
    }
    r->n.o = o;
    r->n.from_ns = INT64_MIN;
    r->n.to_ns = INT64_MAX;
    r->n.btps_factor = 1;
    progress_begin(&r->progress);
    r->notices = notices_new(o->cmd);
    r->n.notices = r->notices;
    int status = r->notices && tally_init(&r->n.tally) == TM_OK ? EXIT_DONE : night_memory(r);
    if (status == EXIT_DONE)
        status = open_source(r);
    if (status == EXIT_DONE && o->out)
        status = open_tables(r);
    if (status == EXIT_DONE)
        status = night_read(r);
    const int heard = r->notices ? notices_end(r->notices) : EXIT_DONE;
    if (status <= EXIT_WRONG && !r->enough) {
        const int done = finish(r);
        status = done > status ? done : status;
    }
    if (status <= EXIT_WRONG && o->breath > 0 && !r->found) {
        say(o->cmd, "%s: there is no breath %ld in it", o->path, o->breath);
        status = EXIT_NOTHING;
    }
    release(r);
    return status > heard ? status : heard;
}
