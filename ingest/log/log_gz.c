#include "ingest/log/log_gz.h"

#include <string.h>

int log_gz_init(struct log_gz *g, log_write_fn *write, void *user, bool plain, int level)
{
    g->write = write;
    g->user = user;
    g->plain = plain;
    g->ready = false;
    g->open = false;
    memset(&g->z, 0, sizeof g->z);
    memset(&g->head, 0, sizeof g->head);
    g->head.os = 255;
    if (plain)
        return TM_OK;
    if (deflateInit2(&g->z, level, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY) != Z_OK)
        return TM_ERR_MEMORY;
    g->ready = true;
    return TM_OK;
}

void log_gz_free(struct log_gz *g)
{
    if (g->ready)
        (void)deflateEnd(&g->z);
    g->ready = false;
}

static int begin(struct log_gz *g)
{
    if (g->open)
        return TM_OK;
    /* Neither fails on a stream that deflateInit2 made. */
    if (deflateReset(&g->z) != Z_OK || deflateSetHeader(&g->z, &g->head) != Z_OK)
        return TM_ERR_USAGE;
    g->open = true;
    return TM_OK;
}

static int run(struct log_gz *g, int flush)
{
    for (;;) {
        g->z.next_out = g->out;
        g->z.avail_out = LOG_GZ_OUT;
        int zr = deflate(&g->z, flush);
        if (zr != Z_OK && zr != Z_STREAM_END && zr != Z_BUF_ERROR)
            return TM_ERR_USAGE;
        size_t n = LOG_GZ_OUT - g->z.avail_out;
        int rc = n > 0 ? g->write(g->user, g->out, n) : TM_OK;
        if (rc != TM_OK)
            return rc;
        if (flush == Z_FINISH ? zr == Z_STREAM_END : g->z.avail_out > 0)
            return TM_OK;
    }
}

int log_gz_put(struct log_gz *g, const char *text, size_t n)
{
    if (n == 0)
        return TM_OK;
    if (g->plain)
        return g->write(g->user, text, n);
    int rc = begin(g);
    if (rc != TM_OK)
        return rc;
    g->z.next_in = (const unsigned char *)text;
    g->z.avail_in = (uInt)n;
    return run(g, Z_NO_FLUSH);
}

int log_gz_sync(struct log_gz *g)
{
    return g->plain || !g->open ? TM_OK : run(g, Z_SYNC_FLUSH);
}

int log_gz_end(struct log_gz *g)
{
    if (g->plain || !g->open)
        return TM_OK;
    g->open = false;
    return run(g, Z_FINISH);
}
