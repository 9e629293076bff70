/* What the writer's files share. */
#ifndef TIDEMARK_INGEST_LOG_WRITE_INTERNAL_H
#define TIDEMARK_INGEST_LOG_WRITE_INTERNAL_H

#include "ingest/decimal.h"
#include "ingest/log/head_write.h"
#include "ingest/log/line.h"
#include "ingest/log/log_gz.h"

#define WRITER_TEXT (24u << 10)

struct log_writer {
    struct recording_info info;
    bool host_time, exact;
    int64_t member_ns;
    char caution[1024];
    int rc; /* the first failure; it stays */

    enum channel order[CH_N];
    size_t n_channels;
    double factor[CH_N]; /* program value = file value * factor */
    int decimals[CH_N];
    uint64_t inexact;

    int64_t origin_ns; /* source time of recording time 0 */
    int64_t last_ns;   /* recording time of the last sample */
    bool any_sample;
    bool in_member;
    bool member_has_samples;
    int64_t member_from_ns; /* recording time */
    bool need_time;
    int64_t second_ns; /* source time from which on a new time line is due */
    int64_t anchor_ns, k;
    bool any_time_line;
    uint64_t since_time, total;
    bool host_known;
    int64_t wall_ns, monotonic_ns;

    struct log_gz gz;
    size_t n; /* text not yet given to gz */
    char text[WRITER_TEXT];
};

/* Room for one line at w->text + w->n; NULL after a failure. */
char *writer_room(struct log_writer *w);

/* Adds one line that is no sample (n bytes, without LF), opening a member where none is open. */
int writer_put_line(struct log_writer *w, const char *line, size_t n) MUST_USE;

/* The values of sample i into buf (LINE_MAX_BYTES): returns the length. Sets *grow, and decimals, where
 * exactness needs more decimals than declared; the line is then to be made again. */
size_t writer_values(struct log_writer *w, const struct sample_block *b, size_t i, char *buf, bool *grow);

#endif
