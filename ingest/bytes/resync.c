/* Finding the next gzip member after damage.
 *
 * A member begins with 1f 8b 08 and a flag byte whose upper three bits are 0. Such bytes turn up by chance once
 * in some 134 million, so a place counts only if what follows inflates: to a good end, to more than a chunk's
 * worth, or to something at all where the input is torn. */
#include "ingest/bytes/bytes_internal.h"

#include <string.h>

/* First place from `from` on where a member may begin; fill if there is none. The last 3 bytes of the window are
 * left for the next look. */
static size_t find_header(const struct raw *r, size_t from)
{
    const uint8_t *p = raw_at(r);
    size_t n = raw_avail(r);
    while (from + 3 < n) {
        const uint8_t *hit = memchr(p + from, 0x1f, n - 3 - from);
        if (!hit)
            return n;
        from = (size_t)(hit - p);
        size_t len;
        if (member_header(hit, n - from, &len) != HEADER_BAD)
            return from;
        from++;
    }
    return n;
}

/* Does a member that counts begin at the window's head? */
static enum resync_rc try_here(struct bytes *b, bool only_whole, struct err *e)
{
    struct member m;
    enum member_rc rc = member_decode(&b->inflater, &b->raw, b->out, BYTES_MEMBER_MAX, &m, b->path, e);
    if (rc == MEMBER_FAIL)
        return RESYNC_FAIL;
    if (rc == MEMBER_GOOD || rc == MEMBER_FULL || (rc == MEMBER_TORN && !only_whole && m.out > 0))
        return RESYNC_FOUND;
    uint64_t cost = (uint64_t)m.out + m.in;
    b->budget -= cost < b->budget ? cost : b->budget;
    return RESYNC_NONE;
}

/* Tries every place in the window from `at` on. RESYNC_NONE: *at is where the next look begins. */
static enum resync_rc search_window(struct bytes *b, size_t *at, bool only_whole, struct err *e)
{
    for (;;) {
        size_t hit = find_header(&b->raw, *at);
        if (hit == raw_avail(&b->raw) || b->budget == 0) {
            size_t n = raw_avail(&b->raw);
            if (*at + 3 < n)
                *at = n - 3;
            return RESYNC_NONE;
        }
        raw_drop(&b->raw, hit);
        enum resync_rc rc = try_here(b, only_whole, e);
        if (rc != RESYNC_NONE)
            return rc;
        raw_drop(&b->raw, 1);
        *at = 0;
    }
}

enum resync_rc bytes_resync(struct bytes *b, size_t skip, bool only_whole, struct err *e)
{
    struct raw *r = &b->raw;
    size_t at = skip;
    uint64_t offset = r->offset;
    for (;;) {
        enum resync_rc rc = search_window(b, &at, only_whole, e);
        if (rc != RESYNC_NONE)
            return rc;
        if (only_whole) {
            /* The input had ended, so the window did not move. */
            r->head -= (size_t)(r->offset - offset);
            r->offset = offset;
            return RESYNC_NONE;
        }
        raw_drop(r, at < raw_avail(r) ? at : raw_avail(r));
        at = 0;
        if (b->budget == 0)
            raw_drop(r, raw_avail(r));
        size_t before = raw_avail(r);
        if (raw_want(r, before + 1, b->path, e) != TM_OK)
            return RESYNC_FAIL;
        if (raw_avail(r) == before) {
            raw_drop(r, before);
            return RESYNC_NONE;
        }
    }
}
