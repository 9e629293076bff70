#include "ingest/source.h"

#include "ingest/import/text_read.h"
#include "ingest/log/log_read.h"

#include <stdlib.h>
#include <string.h>

#define PEEK_BYTES 64

struct source {
    struct bytes *bytes;
    void *reader;
    const struct source_ops *ops;
    char *path; /* the readers name it in their messages */
};

int source_open(struct source **out, const char *path, const struct import_opts *o,
                const struct notice_sink *sink, struct err *e)
{
    struct source *s = calloc(1, sizeof *s);
    const char *data;
    size_t got;
    if (!s || !(s->path = strdup(strcmp(path, "-") == 0 ? "standard input" : path))) {
        free(s);
        return err_set(e, TM_ERR_MEMORY, NULL, 0, "", "out of memory");
    }
    int rc = bytes_open(&s->bytes, path, sink, e);
    if (rc == TM_OK)
        rc = bytes_peek(s->bytes, PEEK_BYTES, &data, &got, e);
    if (rc == TM_OK && log_looks_like(data, got))
        rc = log_reader_new(&s->reader, &s->ops, s->bytes, s->path, sink, e);
    else if (rc == TM_OK)
        rc = text_reader_new(&s->reader, &s->ops, s->bytes, s->path, o, sink, e);
    if (rc != TM_OK) {
        source_close(s);
        return rc;
    }
    *out = s;
    return TM_OK;
}

enum src_rc source_next(struct source *s, struct item *out, struct err *e)
{
    enum src_rc rc = s->ops->next(s->reader, out, e);
    /* A reader may end before the bytes do: is what it took of them true? */
    return rc == SRC_END && bytes_verify(s->bytes, e) != TM_OK ? SRC_ERR : rc;
}

const struct recording_info *source_info(const struct source *s)
{
    return s->ops->info(s->reader);
}

int source_sha256(struct source *s, char hex[65], struct err *e)
{
    return bytes_sha256(s->bytes, hex, e);
}

const char *source_format(const struct source *s)
{
    return s->ops->format;
}

bool source_closed_well(const struct source *s)
{
    return s->ops->closed_well(s->reader);
}

void source_close(struct source *s)
{
    if (!s)
        return;
    if (s->ops)
        s->ops->close(s->reader);
    bytes_close(s->bytes);
    free(s->path);
    free(s);
}
