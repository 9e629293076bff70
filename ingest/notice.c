#include "ingest/notice.h"

#include <stdio.h>
#include <string.h>

static void copy_tail(char *dst, size_t cap, const char *src)
{
    size_t n = src ? strlen(src) : 0;
    if (n < cap) {
        memcpy(dst, src ? src : "", n + 1);
        return;
    }
    /* A long path keeps its end: the name matters more than the root. */
    memcpy(dst, "...", 3);
    memcpy(dst + 3, src + n - (cap - 4), cap - 3);
}

static void copy_text(char *dst, size_t cap, const char *src)
{
    size_t n = src ? strlen(src) : 0;
    if (n >= cap)
        n = cap - 1;
    if (n > 0)
        memcpy(dst, src, n);
    dst[n] = '\0';
}

int err_set(struct err *e, int rc, const char *file, uint64_t line, const char *mend, const char *fmt, ...)
{
    if (!e)
        return rc;
    memset(e, 0, sizeof *e);
    copy_tail(e->file, sizeof e->file, file);
    e->line = line;
    copy_text(e->mend, sizeof e->mend, mend);
    va_list ap;
    va_start(ap, fmt);
    (void)vsnprintf(e->what, sizeof e->what, fmt, ap);
    va_end(ap);
    return rc;
}

void notice_send(const struct notice_sink *sink, enum notice_level level, const char *code, const char *file,
                 uint64_t line, const char *mend, const char *fmt, ...)
{
    if (!sink || !sink->fn)
        return;
    struct notice n = {.level = level, .code = code, .file = file, .line = line};
    copy_text(n.mend, sizeof n.mend, mend);
    va_list ap;
    va_start(ap, fmt);
    (void)vsnprintf(n.what, sizeof n.what, fmt, ap);
    va_end(ap);
    sink->fn(sink->user, &n);
}
