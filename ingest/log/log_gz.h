/* Text into gzip members (or passed on as it is), handed to a write function. MTIME is 0 and OS is FF, so that the
 * same text gives the same bytes on every machine with the same zlib. */
#ifndef TIDEMARK_INGEST_LOG_GZ_H
#define TIDEMARK_INGEST_LOG_GZ_H

#include "ingest/log/log_write.h"

#ifndef ZLIB_CONST
#define ZLIB_CONST
#endif
#include <zlib.h>

#define LOG_GZ_OUT (32u << 10)

struct log_gz {
    log_write_fn *write;
    void *user;
    bool plain;
    bool ready; /* z is initialised */
    bool open;  /* inside a member */
    z_stream z;
    gz_header head;
    unsigned char out[LOG_GZ_OUT];
};

/* level 1..9. TM_ERR_MEMORY. */
int log_gz_init(struct log_gz *g, log_write_fn *write, void *user, bool plain, int level) MUST_USE;
void log_gz_free(struct log_gz *g);

/* Begins a member where none is open. The text may be reused at once. */
int log_gz_put(struct log_gz *g, const char *text, size_t n) MUST_USE;
int log_gz_sync(struct log_gz *g) MUST_USE; /* all text so far can be inflated from what was written */
int log_gz_end(struct log_gz *g) MUST_USE;  /* ends the member, if one is open */

#endif
