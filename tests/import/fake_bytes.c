#include "tests/import/fake_bytes.h"

#include <stdlib.h>

struct bytes {
    const struct fake_part *part;
    size_t parts, at_part, at;
    size_t most;
    uint32_t seed;
};

struct bytes *fake_bytes(const struct fake_part *parts, size_t n_parts, size_t most, uint32_t seed)
{
    struct bytes *b = calloc(1, sizeof *b);
    if (!b)
        abort();
    *b = (struct bytes){.part = parts, .parts = n_parts, .most = most, .seed = seed};
    return b;
}

enum bytes_rc bytes_next(struct bytes *b, struct bytes_chunk *out, struct err *e)
{
    (void)e;
    while (b->at_part < b->parts && b->at == b->part[b->at_part].n && !(b->at == 0 && b->part[b->at_part].after_break)) {
        b->at_part++;
        b->at = 0;
    }
    if (b->at_part == b->parts)
        return BYTES_END;
    const struct fake_part *p = &b->part[b->at_part];
    size_t n = p->n - b->at;
    if (b->most > 0) {
        size_t want = b->most;
        if (b->seed) {
            b->seed = b->seed * 1664525u + 1013904223u;
            want = 1 + (b->seed >> 8) % b->most;
        }
        n = want < n ? want : n;
    }
    *out = (struct bytes_chunk){.data = p->data + b->at,
                                .n = n,
                                .starts_member = b->at == 0 && p->starts_member,
                                .after_break = b->at == 0 && p->after_break};
    b->at += n;
    if (n == 0) { /* a break with nothing behind it */
        b->at_part++;
        b->at = 0;
    }
    return BYTES_DATA;
}

void bytes_close(struct bytes *b)
{
    free(b);
}
