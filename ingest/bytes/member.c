#include "ingest/bytes/member.h"

#include "ingest/bytes/bytes.h"

#include <libdeflate.h>
#include <string.h>

#define TRAILER   8
#define FLG_HCRC  0x02
#define FLG_EXTRA 0x04
#define FLG_NAME  0x08
#define FLG_NOTE  0x10
#define FLG_BAD   0xe0

enum header_rc member_header(const uint8_t *p, size_t n, size_t *len)
{
    static const uint8_t magic[3] = {0x1f, 0x8b, 8};
    for (size_t i = 0; i < 3 && i < n; i++)
        if (p[i] != magic[i])
            return HEADER_BAD;
    if (n > 3 && (p[3] & FLG_BAD))
        return HEADER_BAD;
    if (n < 10)
        return HEADER_SHORT;
    size_t at = 10;
    if (p[3] & FLG_EXTRA) {
        if (n < at + 2)
            return HEADER_SHORT;
        at += 2 + (size_t)(p[at] | p[at + 1] << 8);
    }
    for (int flag = FLG_NAME; flag <= FLG_NOTE; flag <<= 1) {
        if (!(p[3] & flag))
            continue;
        const uint8_t *nul = at < n ? memchr(p + at, 0, n - at) : NULL;
        if (!nul)
            return HEADER_SHORT;
        at = (size_t)(nul - p) + 1;
    }
    if (p[3] & FLG_HCRC) {
        if (n < at + 2)
            return HEADER_SHORT;
        if ((libdeflate_crc32(0, p, at) & 0xffff) != (uint32_t)(p[at] | p[at + 1] << 8))
            return HEADER_BAD;
        at += 2;
    }
    if (at > n)
        return HEADER_SHORT;
    *len = at;
    return HEADER_OK;
}

int inflater_init(struct inflater *f)
{
    memset(f, 0, sizeof *f);
    f->fast = libdeflate_alloc_decompressor();
    return f->fast ? TM_OK : TM_ERR_MEMORY;
}

void inflater_free(struct inflater *f)
{
    if (f->z_ready)
        (void)inflateEnd(&f->z);
    f->z_ready = false;
    libdeflate_free_decompressor(f->fast);
    f->fast = NULL;
}

static uint32_t le32(const uint8_t *p)
{
    return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

static enum member_rc out_of_memory(const char *path, struct err *e)
{
    (void)err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    return MEMBER_FAIL;
}

/* The trailer stands `at` bytes after the window's head. */
static enum member_rc check_trailer(struct raw *r, size_t at, uint32_t crc, uint32_t length, struct member *m,
                                    const char *path, struct err *e)
{
    if (raw_want(r, at + TRAILER, path, e) != TM_OK)
        return MEMBER_FAIL;
    if (raw_avail(r) < at + TRAILER) {
        m->in = raw_avail(r);
        return MEMBER_TORN;
    }
    m->in = at + TRAILER;
    const uint8_t *t = raw_at(r) + at;
    m->why = le32(t) != crc ? "its CRC-32 does not match" : "its length does not match";
    return le32(t) == crc && le32(t + 4) == length ? MEMBER_GOOD : MEMBER_DAMAGED;
}

/* Runs zlib from m->in bytes after the window's head, reading on as needed, until the member ends, fails, or out
 * holds more than cap bytes. Input stays in the window. */
static enum member_rc run_zlib(struct inflater *f, struct raw *r, uint8_t *out, size_t cap, struct member *m,
                               const char *path, struct err *e)
{
    m->out = 0;
    for (;;) {
        if (raw_avail(r) == m->in) {
            if (raw_avail(r) >= RAW_CAP)
                return MEMBER_FULL;
            if (raw_want(r, m->in + 1, path, e) != TM_OK)
                return MEMBER_FAIL;
            if (raw_avail(r) == m->in)
                return MEMBER_TORN;
        }
        size_t in = raw_avail(r) - m->in, room = cap + 1 - m->out;
        f->z.next_in = raw_at(r) + m->in;
        f->z.avail_in = (uInt)in;
        f->z.next_out = out + m->out;
        f->z.avail_out = (uInt)room;
        int zr = inflate(&f->z, Z_NO_FLUSH);
        m->in += in - f->z.avail_in;
        m->out += room - f->z.avail_out;
        if (m->out > cap)
            return MEMBER_FULL;
        if (zr == Z_MEM_ERROR)
            return out_of_memory(path, e);
        if (zr == Z_STREAM_END || (zr != Z_OK && zr != Z_BUF_ERROR)) {
            f->crc = libdeflate_crc32(f->crc, out, m->out);
            f->length += (uint32_t)m->out;
            m->why = "its deflate data are invalid";
            return zr == Z_STREAM_END ? check_trailer(r, m->in, f->crc, f->length, m, path, e)
                                      : MEMBER_DAMAGED;
        }
    }
}

static enum member_rc decode_slow(struct inflater *f, struct raw *r, uint8_t *out, size_t cap, struct member *m,
                                  const char *path, struct err *e)
{
    f->slow++;
    int zr = f->z_ready ? inflateReset(&f->z) : inflateInit2(&f->z, -15);
    if (zr != Z_OK)
        return out_of_memory(path, e);
    f->z_ready = true;
    f->crc = 0;
    f->length = 0;
    enum member_rc rc = run_zlib(f, r, out, cap, m, path, e);
    if (rc == MEMBER_FULL) {
        f->crc = libdeflate_crc32(0, out, m->out);
        f->length = (uint32_t)m->out;
    }
    return rc;
}

enum member_rc member_decode(struct inflater *f, struct raw *r, uint8_t *out, size_t cap, struct member *m,
                             const char *path, struct err *e)
{
    memset(m, 0, sizeof *m);
    size_t head = 0;
    enum header_rc h;
    while ((h = member_header(raw_at(r), raw_avail(r), &head)) == HEADER_SHORT) {
        m->in = raw_avail(r);
        m->why = "its header is too long";
        if (m->in >= RAW_CAP)
            return MEMBER_DAMAGED;
        if (raw_want(r, m->in + 1, path, e) != TM_OK)
            return MEMBER_FAIL;
        if (raw_avail(r) == m->in)
            return MEMBER_TORN;
    }
    m->in = 0;
    if (h == HEADER_BAD) {
        m->why = "its header is invalid";
        return MEMBER_DAMAGED;
    }
    size_t in = 0, n = 0;
    enum libdeflate_result lr = libdeflate_deflate_decompress_ex(f->fast, raw_at(r) + head, raw_avail(r) - head,
                                                                 out, cap, &in, &n);
    if (lr == LIBDEFLATE_SUCCESS) {
        m->out = n;
        return check_trailer(r, head + in, libdeflate_crc32(0, out, n), (uint32_t)n, m, path, e);
    }
    if (lr == LIBDEFLATE_INSUFFICIENT_SPACE && cap < BYTES_MEMBER_MAX)
        return MEMBER_FULL; /* the caller comes again with all the room */
    m->in = head;
    return decode_slow(f, r, out, cap, m, path, e);
}

enum member_rc member_stream(struct inflater *f, struct raw *r, uint8_t *out, size_t cap, struct member *m,
                             const char *path, struct err *e)
{
    memset(m, 0, sizeof *m);
    enum member_rc rc = run_zlib(f, r, out, cap - 1, m, path, e);
    if (rc == MEMBER_FULL || rc == MEMBER_TORN) {
        f->crc = libdeflate_crc32(f->crc, out, m->out);
        f->length += (uint32_t)m->out;
    }
    raw_drop(r, m->in);
    return rc;
}
