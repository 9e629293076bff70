#include "ingest/log/log_recover.h"

#include "ingest/bytes/bytes.h"
#include "ingest/decimal.h"
#include "ingest/log/head.h"
#include "ingest/log/line_feed.h"
#include "ingest/log/log_gz.h"
#include "ingest/log/log_read.h"

#include <stdlib.h>
#include <string.h>

struct recovery {
    struct line_feed feed;
    struct log_gz gz;
    struct log_head head; /* of the member under way */
    size_t head_n;        /* its text, kept back until it is whole */
    char head_text[8 * LINE_MAX_BYTES];
    struct recover_report *report;
    bool any_head, hole; /* a hole waits for the next time line */
    bool any_time;
    int64_t origin_ns; /* source time of recording time 0, as the lines kept say */
    int64_t time_ns;   /* of the last time line kept */
    uint64_t since;    /* sample lines kept since then */
    int rc;
};

static void put(struct recovery *v, const char *p, size_t n)
{
    if (v->rc == TM_OK)
        v->rc = log_gz_put(&v->gz, p, n);
    if (v->rc == TM_OK)
        v->rc = log_gz_put(&v->gz, "\n", 1);
}

static int64_t step_ns(const struct recovery *v)
{
    const struct recording_info *in = &v->head.info;
    return in->rate_num > 0 ? NS_PER_S * in->rate_den / in->rate_num : 0;
}

/* The gap that a hole leaves, and how long it is. A clock line may have gone with the members: the head behind the
 * hole tells by its origin. */
static void put_gap(struct recovery *v, const struct line_time *tl)
{
    char line[64] = "^ unknown ";
    size_t n = strlen(line);
    int64_t set = v->head.has_origin ? v->head.origin_ns - v->origin_ns : 0;
    if (set != 0 && v->any_time)
        put(v, line, n + decimal_format_ns(line + n, set));
    v->origin_ns += set;
    int64_t lost = v->any_time ? tl->t_ns - set - v->time_ns - (int64_t)v->since * step_ns(v)
                               : tl->t_ns - v->head.origin_ns;
    n = strlen(strcpy(line, "~ damaged"));
    if (lost > 0) {
        v->report->lost_s += (double)lost / 1e9;
        line[n++] = ' ';
        n += decimal_format_ns(line + n, lost);
    }
    put(v, line, n);
}

/* The time line again, with the count of what stands in the copy. */
static void put_time(struct recovery *v, const char *p, size_t n, const struct line_time *tl)
{
    const char *rest = memchr(p, ' ', n);
    const char *end = p + n;
    size_t time_n = (size_t)(rest - p);
    rest = memchr(rest + 1, ' ', (size_t)(end - rest - 1));
    char line[LINE_MAX_BYTES + 32];
    size_t w = time_n + 1;
    memcpy(line, p, w);
    if (v->any_time)
        w += decimal_format_u64(line + w, v->since);
    else
        line[w++] = '-';
    if (rest) {
        memcpy(line + w, rest, (size_t)(end - rest));
        w += (size_t)(end - rest);
    }
    put(v, line, w);
    v->any_time = true;
    v->time_ns = tl->t_ns;
    v->since = 0;
}

static void on_time(struct recovery *v, const char *p, size_t n)
{
    struct line_time tl;
    if (!line_parse_time(p, n, &tl)) {
        put(v, p, n); /* the reader says what is wrong with it */
        return;
    }
    if (v->hole) {
        put_gap(v, &tl);
        put_time(v, p, n, &tl);
        v->hole = false;
        return;
    }
    put(v, p, n);
    v->any_time = true;
    v->time_ns = tl.t_ns;
    v->since = 0;
}

static void on_head(struct recovery *v, const char *p, size_t n)
{
    char why[256], mend[256];
    if (log_looks_like(p, n)) {
        log_head_init(&v->head);
        v->head_n = 0;
    }
    (void)log_head_line(&v->head, p, n, why, mend);
    if (v->head_n + n + 1 > sizeof v->head_text)
        return; /* no head that a writer makes is so long */
    memcpy(v->head_text + v->head_n, p, n);
    v->head_n += n;
    v->head_text[v->head_n++] = '\n';
}

/* What follows the head is here: it begins a member. A head that the input's end cut off is left out. */
static void put_head(struct recovery *v)
{
    char why[256], mend[256];
    size_t n = v->head_n;
    v->head_n = 0;
    if (n == 0)
        return;
    if (!v->any_head && !log_head_check(&v->head, why, mend)) {
        log_head_init(&v->head); /* what follows is not to complete it */
        return;
    }
    if (v->rc == TM_OK)
        v->rc = log_gz_end(&v->gz);
    if (v->rc == TM_OK)
        v->rc = log_gz_put(&v->gz, v->head_text, n);
    v->any_head = true;
    if (!v->hole || !v->any_time)
        v->origin_ns = v->head.origin_ns;
}

static void on_clock(struct recovery *v, const char *p, size_t n)
{
    struct line_clock c;
    if (line_parse_clock(p, n, &c) && c.step_known)
        v->origin_ns += c.step_ns;
    put(v, p, n);
}

static void on_line(struct recovery *v, const char *p, size_t n)
{
    enum line_kind kind = line_kind(p, n);
    if (kind == LINE_HEAD) {
        on_head(v, p, n);
        return;
    }
    put_head(v);
    if (!v->any_head)
        return; /* nothing can be read before a head */
    switch (kind) {
    case LINE_TIME:
        on_time(v, p, n);
        return;
    case LINE_CLOCK:
        on_clock(v, p, n);
        return;
    case LINE_CLOSE:
        v->report->was_closed = true;
        return;
    case LINE_SAMPLE:
        v->since++;
        v->report->samples++;
        put(v, p, n);
        return;
    default:
        put(v, p, n);
        return;
    }
}

static int walk(struct recovery *v, struct bytes *b, struct err *e)
{
    for (;;) {
        struct bytes_chunk c;
        enum bytes_rc rc = bytes_next(b, &c, e);
        if (rc == BYTES_ERR)
            return TM_ERR_SYSTEM;
        if (rc == BYTES_END)
            return TM_OK;
        if (c.after_break) {
            line_feed_break(&v->feed);
            v->report->holes++;
            v->hole = true;
        }
        line_feed_chunk(&v->feed, c.data, c.n);
        const char *p;
        size_t n;
        enum feed_rc f;
        while (!v->report->was_closed && v->rc == TM_OK && (f = line_feed_next(&v->feed, &p, &n)) != FEED_MORE)
            if (f == FEED_LINE)
                on_line(v, p, n);
        if (v->rc != TM_OK)
            return err_set(e, v->rc, NULL, 0, "", "the copy can't be written");
    }
}

static int finish(struct recovery *v, const char *path, struct err *e)
{
    if (!v->any_head) /* a head alone is a log, if it is whole */
        put_head(v);
    if (!v->any_head)
        return err_set(e, TM_ERR_INPUT, path, 0, "", "no part of it can be read as a log");
    char line[24] = ".";
    put(v, line, 1 + decimal_format_u64(line + 1, v->report->samples));
    if (v->rc == TM_OK)
        v->rc = log_gz_end(&v->gz);
    return v->rc == TM_OK ? TM_OK : err_set(e, v->rc, NULL, 0, "", "the copy can't be written");
}

int log_recover(const char *path, log_write_fn *write, void *user, struct recover_report *report,
                const struct notice_sink *sink, struct err *e)
{
    memset(report, 0, sizeof *report);
    struct bytes *b = NULL;
    struct recovery *v = calloc(1, sizeof *v);
    if (!v)
        return err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    v->report = report;
    log_head_init(&v->head);
    int rc = log_gz_init(&v->gz, write, user, false, 6);
    if (rc != TM_OK)
        rc = err_set(e, rc, path, 0, "", "out of memory");
    if (rc == TM_OK)
        rc = bytes_open(&b, path, sink, e);
    if (rc == TM_OK)
        rc = walk(v, b, e);
    if (rc == TM_OK)
        rc = finish(v, path, e);
    report->lines_cut = v->feed.carry_n > 0;
    bytes_close(b);
    log_gz_free(&v->gz);
    free(v);
    return rc;
}
