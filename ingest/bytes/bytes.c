#include "ingest/bytes/bytes_internal.h"

#include <stdlib.h>
#include <string.h>

#define BATCH        (64u << 10)  /* inflated bytes that make a chunk: they stay in a core's cache */
#define STREAM_PIECE (256u << 10) /* of a member too large to be held */

static int probe(struct bytes *b, struct err *e)
{
    int rc = raw_want(&b->raw, 2, b->path, e);
    if (rc != TM_OK)
        return rc;
    const uint8_t *p = raw_at(&b->raw);
    size_t n = raw_avail(&b->raw);
    /* A lone 1f is the torn beginning of a member: no text begins so. */
    b->gzip = n > 0 && p[0] == 0x1f && (n == 1 || p[1] == 0x8b);
    if (!b->gzip)
        return TM_OK;
    b->out = malloc(BYTES_MEMBER_MAX + 1);
    if (!b->out)
        return err_set(e, TM_ERR_MEMORY, b->path, 0, "", "out of memory");
    rc = inflater_init(&b->inflater);
    return rc == TM_OK ? rc : err_set(e, rc, b->path, 0, "", "out of memory");
}

int bytes_open(struct bytes **out, const char *path, const struct notice_sink *sink, struct err *e)
{
    return bytes_open_at(out, path, 0, sink, e);
}

int bytes_open_at(struct bytes **out, const char *path, uint64_t offset, const struct notice_sink *sink,
                  struct err *e)
{
    struct bytes *b = calloc(1, sizeof *b);
    if (!b)
        return err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    b->path = path;
    if (sink)
        b->sink = *sink;
    b->budget = RESYNC_BUDGET;
    b->in_max = 4096;
    b->raw.fd = -1;
    int rc = raw_open(&b->raw, path, e);
    if (rc == TM_OK && offset > 0)
        rc = raw_seek(&b->raw, offset, path, e);
    b->start_offset = offset;
    if (rc == TM_OK)
        rc = probe(b, e);
    if (rc != TM_OK) {
        bytes_close(b);
        return rc;
    }
    *out = b;
    return TM_OK;
}

void bytes_close(struct bytes *b)
{
    if (!b)
        return;
    raw_close(&b->raw);
    inflater_free(&b->inflater);
    free(b->out);
    free(b);
}

bool bytes_is_gzip(const struct bytes *b)
{
    return b->gzip;
}

uint64_t bytes_start_offset(const struct bytes *b)
{
    return b->start_offset;
}

void bytes_one_member(struct bytes *b)
{
    b->one_member = true;
}

static void say(struct bytes *b, enum notice_level level, const char *code, const char *mend, const char *what,
                const char *why)
{
    notice_send(&b->sink, level, code, b->path, 0, mend, "%s after member %llu, at byte %llu%s%s", what,
                (unsigned long long)b->members, (unsigned long long)b->raw.offset, why[0] ? ": " : "", why);
}

static enum bytes_rc end(struct bytes *b)
{
    if (b->raw.offset == 0 && !b->ended)
        notice_send(&b->sink, NOTICE_FATAL, "empty", b->path, 0, "", "the input is empty");
    b->ended = true;
    return BYTES_END;
}

static enum bytes_rc next_plain(struct bytes *b, struct bytes_chunk *out, struct err *e)
{
    if (raw_avail(&b->raw) == 0 && raw_some(&b->raw, b->path, e) != TM_OK)
        return BYTES_ERR;
    size_t n = raw_avail(&b->raw);
    if (n == 0)
        return end(b);
    *out = (struct bytes_chunk){
        .data = (const char *)raw_at(&b->raw), .n = n, .starts_member = b->raw.offset == 0, .offset = b->raw.offset};
    raw_drop(&b->raw, n); /* the bytes stay where they are until the next read */
    return BYTES_DATA;
}

/* What deliver_* say: a chunk is there, nothing yet (look again), or the end or an error in *rc. */
enum step { STEP_CHUNK, STEP_AGAIN, STEP_OVER };

static enum step over(enum bytes_rc *rc, enum bytes_rc v)
{
    *rc = v;
    return STEP_OVER;
}

static void give(struct bytes *b, struct bytes_chunk *out, size_t n, bool unverified, uint64_t offset)
{
    *out = (struct bytes_chunk){.data = (const char *)b->out,
                                .n = n,
                                .starts_member = true,
                                .after_break = b->lost,
                                .unverified = unverified,
                                .offset = offset};
    b->lost = false;
}

/* Zeros to the end are padding; zeros before something else are damage like any other. */
static enum step skip_zeros(struct bytes *b, uint64_t from, enum bytes_rc *rc, struct err *e)
{
    struct raw *r = &b->raw;
    while (raw_avail(r) > 0 && *raw_at(r) == 0) {
        raw_drop(r, 1);
        if (raw_want(r, 1, b->path, e) != TM_OK)
            return over(rc, BYTES_ERR);
    }
    if (raw_avail(r) > 0)
        return STEP_AGAIN;
    notice_send(&b->sink, NOTICE_NOTE, "trailing_zeros", b->path, 0,
                "typical of a computer that lost power while it wrote",
                "%llu zero bytes follow the last member, from byte %llu on",
                (unsigned long long)(r->offset - from), (unsigned long long)from);
    return over(rc, end(b));
}

/* The bytes from `from` to the window's head are no member, or (header) a damaged one begins at the head. */
static enum step recover(struct bytes *b, uint64_t from, bool header, const char *why, enum bytes_rc *rc,
                         struct err *e)
{
    struct raw *r = &b->raw;
    enum resync_rc found = bytes_resync(b, header ? 1 : 0, false, e);
    if (found == RESYNC_FAIL)
        return over(rc, BYTES_ERR);
    b->lost = true;
    unsigned long long lost = r->offset - from;
    if (header || found == RESYNC_FOUND)
        notice_send(&b->sink, NOTICE_WRONG, "damaged_member", b->path, 0,
                    "restore the file from a copy if there is one; the rest is kept",
                    "gzip member %llu, at byte %llu, is damaged (%s): %llu stored bytes are lost",
                    (unsigned long long)b->members + 1, (unsigned long long)from, why, lost);
    else
        notice_send(&b->sink, NOTICE_WRONG, "trailing_garbage", b->path, 0, "",
                    "%llu bytes after the last member, from byte %llu on, are not gzip data", lost,
                    (unsigned long long)from);
    b->members += header || found == RESYNC_FOUND;
    return STEP_AGAIN;
}

/* The member at the head reaches the input's end without ending itself: it is torn, unless whole members lie
 * behind its beginning, for then it is damage that inflates into nonsense. */
static enum step torn(struct bytes *b, struct bytes_chunk *out, enum bytes_rc *rc, struct err *e)
{
    enum resync_rc found = bytes_resync(b, 1, true, e);
    if (found == RESYNC_FAIL)
        return over(rc, BYTES_ERR);
    if (found == RESYNC_FOUND) {
        b->lost = true;
        b->members++;
        say(b, NOTICE_WRONG, "damaged_member", "restore the file from a copy if there is one; the rest is kept",
            "a damaged member ends", "its deflate data are invalid");
        return STEP_AGAIN;
    }
    struct member m;
    uint64_t at = b->raw.offset;
    enum member_rc mr = member_decode(&b->inflater, &b->raw, b->out, BYTES_MEMBER_MAX, &m, b->path, e);
    if (mr == MEMBER_FAIL)
        return over(rc, BYTES_ERR);
    raw_drop(&b->raw, raw_avail(&b->raw));
    b->torn = true;
    if (m.out == 0)
        return STEP_AGAIN;
    give(b, out, m.out, true, at);
    return STEP_CHUNK;
}

static enum step stream_piece(struct bytes *b, struct bytes_chunk *out, enum bytes_rc *rc, struct err *e)
{
    struct member m;
    uint64_t at = b->raw.offset;
    enum member_rc mr = member_stream(&b->inflater, &b->raw, b->out, STREAM_PIECE, &m, b->path, e);
    if (mr == MEMBER_FAIL)
        return over(rc, BYTES_ERR);
    b->streaming = mr == MEMBER_FULL;
    b->members += mr == MEMBER_GOOD || mr == MEMBER_DAMAGED;
    b->torn = mr == MEMBER_TORN;
    if (mr == MEMBER_DAMAGED) {
        say(b, NOTICE_WRONG, "damaged_member",
            "restore the file from a copy: samples before this may be altered, and nothing tells which", "damage found", m.why);
        enum resync_rc found = bytes_resync(b, 0, false, e);
        if (found == RESYNC_FAIL)
            return over(rc, BYTES_ERR);
    }
    give(b, out, m.out, true, at);
    out->starts_member = false;
    b->lost = mr == MEMBER_DAMAGED;
    return m.out > 0 ? STEP_CHUNK : STEP_AGAIN;
}

/* Members that follow each other whole go into one chunk; anything else is looked at again when they have been
 * handed on, so that notices keep their place. */
static enum step batch(struct bytes *b, struct bytes_chunk *out, enum bytes_rc *rc, struct err *e)
{
    struct raw *r = &b->raw;
    size_t n = 0;
    uint64_t at = r->offset;
    for (;;) {
        if (raw_want(r, b->in_max, b->path, e) != TM_OK)
            return over(rc, BYTES_ERR);
        if (raw_avail(r) == 0 || *raw_at(r) != 0x1f || (raw_avail(r) > 1 && raw_at(r)[1] != 0x8b))
            break;
        struct member m;
        enum member_rc mr =
            member_decode(&b->inflater, r, b->out + n, BYTES_MEMBER_MAX - n, &m, b->path, e);
        if (mr == MEMBER_FAIL)
            return over(rc, BYTES_ERR);
        if (mr == MEMBER_GOOD) {
            raw_drop(r, m.in);
            n += m.out;
            b->members++;
            if (m.in > b->in_max - b->in_max / 4)
                b->in_max = m.in + m.in / 3 + 64;
            if (n >= BATCH || (n > 0 && b->one_member))
                break;
            if (n == 0)
                at = r->offset;
            continue;
        }
        if (n > 0)
            break;
        if (mr == MEMBER_TORN)
            return torn(b, out, rc, e);
        if (mr == MEMBER_DAMAGED)
            return recover(b, r->offset, true, m.why, rc, e);
        raw_drop(r, m.in);
        b->streaming = true;
        give(b, out, m.out, true, at);
        return STEP_CHUNK;
    }
    if (n > 0) {
        give(b, out, n, false, at);
        return STEP_CHUNK;
    }
    if (raw_avail(r) == 0)
        return over(rc, end(b));
    uint64_t from = r->offset;
    if (*raw_at(r) == 0) {
        enum step s = skip_zeros(b, from, rc, e);
        if (s == STEP_OVER)
            return s;
    }
    return recover(b, from, false, "its header is missing", rc, e);
}

static enum bytes_rc next_gzip(struct bytes *b, struct bytes_chunk *out, struct err *e)
{
    for (;;) {
        if (b->torn) {
            b->torn = false;
            say(b, NOTICE_WRONG, "torn", "what could be read is kept", "the input ends inside a gzip member", "");
        }
        enum bytes_rc rc = BYTES_END;
        enum step s = b->streaming ? stream_piece(b, out, &rc, e) : batch(b, out, &rc, e);
        if (s == STEP_CHUNK)
            return BYTES_DATA;
        if (s == STEP_OVER)
            return rc;
    }
}

enum bytes_rc bytes_next(struct bytes *b, struct bytes_chunk *out, struct err *e)
{
    if (b->have_held) {
        b->have_held = false;
        *out = b->held;
        return BYTES_DATA;
    }
    if (b->ended)
        return BYTES_END;
    return b->gzip ? next_gzip(b, out, e) : next_plain(b, out, e);
}

int bytes_peek(struct bytes *b, size_t n, const char **data, size_t *got, struct err *e)
{
    *data = "";
    *got = 0;
    if (!b->gzip) {
        int rc = raw_want(&b->raw, n, b->path, e);
        if (rc != TM_OK)
            return rc;
        *data = raw_avail(&b->raw) > 0 ? (const char *)raw_at(&b->raw) : "";
        *got = raw_avail(&b->raw) < n ? raw_avail(&b->raw) : n;
        return TM_OK;
    }
    if (!b->have_held) {
        enum bytes_rc rc = b->ended ? BYTES_END : next_gzip(b, &b->held, e);
        if (rc == BYTES_ERR)
            return TM_ERR_SYSTEM;
        b->have_held = rc == BYTES_DATA;
    }
    if (b->have_held) {
        *data = b->held.data;
        *got = b->held.n < n ? b->held.n : n;
    }
    return TM_OK;
}

int bytes_verify(struct bytes *b, struct err *e)
{
    struct bytes_chunk unread;
    while (b->streaming)
        if (bytes_next(b, &unread, e) == BYTES_ERR)
            return TM_ERR_SYSTEM;
    return TM_OK;
}

int bytes_sha256(struct bytes *b, char hex[65], struct err *e)
{
    struct raw *r = &b->raw;
    while (!r->eof) {
        raw_drop(r, raw_avail(r));
        int rc = raw_some(r, b->path, e);
        if (rc != TM_OK)
            return rc;
    }
    uint8_t digest[SHA256_DIGEST_SIZE];
    struct sha256_ctx copy = r->sha;
    sha256_digest(&copy, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        hex[2 * i] = "0123456789abcdef"[digest[i] >> 4];
        hex[2 * i + 1] = "0123456789abcdef"[digest[i] & 15];
    }
    hex[64] = '\0';
    return TM_OK;
}
