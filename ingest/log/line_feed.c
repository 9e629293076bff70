#include "ingest/log/line_feed.h"

#include <string.h>

void line_feed_chunk(struct line_feed *f, const char *data, size_t n)
{
    f->p = data;
    f->end = data + n;
}

void line_feed_break(struct line_feed *f)
{
    f->carry_n = 0;
    f->too_long = false;
}

static void carry(struct line_feed *f, const char *p, size_t n)
{
    if (f->too_long || n == 0)
        return;
    if (f->carry_n + n > LINE_MAX_BYTES) {
        if (f->carry_n == 0)
            f->carry[0] = *p;
        f->carry_n = 0;
        f->too_long = true;
        return;
    }
    memcpy(f->carry + f->carry_n, p, n);
    f->carry_n += n;
}

enum feed_rc line_feed_next(struct line_feed *f, const char **p, size_t *n)
{
    if (f->p == f->end)
        return FEED_MORE;
    const char *lf = memchr(f->p, '\n', (size_t)(f->end - f->p));
    *p = f->p;
    *n = (size_t)((lf ? lf : f->end) - f->p);
    f->p = lf ? lf + 1 : f->end;
    if (lf && f->carry_n == 0 && !f->too_long && *n <= LINE_MAX_BYTES)
        return FEED_LINE;
    carry(f, *p, *n);
    if (!lf)
        return FEED_MORE;
    bool too_long = f->too_long;
    *p = f->carry;
    *n = too_long ? 1 : f->carry_n;
    line_feed_break(f);
    return too_long ? FEED_LONG : FEED_LINE;
}
