/* make_night RECORDING HOURS OUT csv|log: the bench's files, out of one simulated recording that is repeated, with
 * times that run on, until HOURS are full.
 *
 *   csv   lines `12345.67,12.34,-0.523` under a header, in gzip members of 1 s: the yardstick, kept for ever
 *   log   the same samples as our log */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "ingest/log/log_write.h"
#include "ingest/source.h"

struct job {
    FILE *out;
    double end_s;
    int64_t shift_ns, last_ns, step_ns;
    bool csv;
    z_stream z;              /* csv */
    char text[65536];        /* the member's lines so far */
    unsigned char packed[131072];
    size_t n;
    int64_t member;          /* second of the member */
    struct log_writer *log;  /* log */
    struct sample_block block;
};

static int put(void *user, const void *data, size_t n)
{
    struct job *j = user;
    return fwrite(data, 1, n, j->out) == n ? TM_OK : TM_ERR_SYSTEM;
}

static int end_member(struct job *j)
{
    if (j->n == 0) {
        return TM_OK;
    }
    j->z.next_in = (unsigned char *)j->text;
    j->z.avail_in = (uInt)j->n;
    j->z.next_out = j->packed;
    j->z.avail_out = sizeof j->packed;
    if (deflate(&j->z, Z_FINISH) != Z_STREAM_END) {
        return TM_ERR_MEMORY;
    }
    j->n = 0;
    int rc = put(j, j->packed, sizeof j->packed - j->z.avail_out);
    return deflateReset(&j->z) == Z_OK ? rc : TM_ERR_MEMORY;
}

static int csv_samples(struct job *j, const struct sample_block *b)
{
    int rc = TM_OK;
    for (size_t i = 0; i < b->n && rc == TM_OK; i++) {
        if (b->t_ns[i] / NS_PER_S != j->member || j->n > sizeof j->text - 128) {
            rc = end_member(j);
            j->member = b->t_ns[i] / NS_PER_S;
        }
        j->n += (size_t)snprintf(j->text + j->n, 100, "%.2f,%.2f,%.3f\n", (double)b->t_ns[i] / 1e9, b->v[CH_PAW][i],
                                 b->v[CH_FLOW][i]);
    }
    return rc;
}

/* One pass over the recording; *full once the hours are. */
static int pass(struct job *j, const char *recording, bool *full)
{
    struct import_opts opts;
    struct notice_sink quiet = {NULL, NULL};
    struct source *s = NULL;
    struct err e;
    struct item it;
    import_opts_defaults(&opts);
    int rc = source_open(&s, recording, &opts, &quiet, &e);
    if (rc == TM_OK && !j->csv && !j->log) {
        struct log_write_opts lo = {.write = put, .user = j};
        rc = log_writer_new(&j->log, source_info(s), &lo, &e);
    }
    if (rc != TM_OK) {
        fprintf(stderr, "%s: %s\n", recording, e.what);
    }
    while (rc == TM_OK && !*full && source_next(s, &it, &e) == SRC_ITEM) {
        if (it.kind != ITEM_SAMPLES) {
            continue;
        }
        struct sample_block *b = &j->block;
        *b = *it.samples;
        size_t n = 0;
        for (; n < b->n; n++) {
            b->t_ns[n] += j->shift_ns;
            if ((double)b->t_ns[n] / 1e9 >= j->end_s) {
                *full = true;
                break;
            }
            j->step_ns = j->last_ns < b->t_ns[n] ? b->t_ns[n] - j->last_ns : j->step_ns;
            j->last_ns = b->t_ns[n];
        }
        b->n = n;
        if (n > 0) {
            rc = j->csv ? csv_samples(j, b) : log_write_samples(j->log, b);
        }
    }
    source_close(s);
    return rc;
}

static int make(struct job *j, const char *recording)
{
    int rc = TM_OK;
    if (j->csv) {
        if (deflateInit2(&j->z, 6, Z_DEFLATED, 31, 8, Z_DEFAULT_STRATEGY) != Z_OK) {
            return TM_ERR_MEMORY;
        }
        j->n = (size_t)snprintf(j->text, 100, "t_s,paw_cmh2o,flow_l_s\n");
    }
    for (bool full = false; !full && rc == TM_OK;) {
        int64_t before = j->last_ns;
        rc = pass(j, recording, &full);
        if (j->last_ns == before) {
            rc = TM_ERR_INPUT;
        }
        j->shift_ns = j->last_ns + j->step_ns;
    }
    if (rc == TM_OK) {
        rc = j->csv ? end_member(j) : log_write_close(j->log);
    }
    if (j->csv) {
        (void)deflateEnd(&j->z);
    }
    log_writer_destroy(j->log);
    return rc;
}

int main(int argc, char **argv)
{
    if (argc != 5 || (strcmp(argv[4], "csv") != 0 && strcmp(argv[4], "log") != 0)) {
        fputs("usage: make_night RECORDING HOURS OUT csv|log\n", stderr);
        return 2;
    }
    struct job *j = calloc(1, sizeof *j);
    if (!j) {
        return 1;
    }
    j->csv = strcmp(argv[4], "csv") == 0;
    j->end_s = 3600 * strtod(argv[2], NULL);
    j->last_ns = -1;
    j->out = fopen(argv[3], "wb");
    int rc = j->out ? make(j, argv[1]) : TM_ERR_SYSTEM;
    if (j->out && fclose(j->out)) {
        rc = TM_ERR_SYSTEM;
    }
    if (rc != TM_OK) {
        fprintf(stderr, "make_night: %s: failed (%d)\n", argv[3], rc);
    }
    free(j);
    return rc == TM_OK ? 0 : 1;
}
