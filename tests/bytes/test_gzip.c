/* Members whose bytes depend on no compressor: RFC 1952 with stored deflate blocks (RFC 1951 section 3.2.4). Their
 * CRC-32 values are those of the public CRC catalogue (`123456789`: CBF43926) and of zlib. */
#include "tests/bytes/check_bytes.h"

#include "ingest/bytes/bytes.h"

#include <libdeflate.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <cmocka.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
#include <zlib.h>

static const unsigned char empty[20] = {0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 0xff, 3, 0};
static const unsigned char pair[59] = {
    0x1f, 0x8b, 8,    0,    0,    0,    0,    0,    0,    0xff, 1,    4,    0,    0xfb, 0xff, 'a',  'b',  'c',  '\n', 0x4e,
    0x81, 0x88, 0x47, 4,    0,    0,    0,    0x1f, 0x8b, 8,    0,    0,    0,    0,    0,    0,    0xff, 1,    9,    0,
    0xf6, 0xff, '1',  '2',  '3',  '4',  '5',  '6',  '7',  '8',  '9',  0x26, 0x39, 0xf4, 0xcb, 9,    0,    0,    0};
#define FIRST 27 /* bytes of the first member */

static char *read_bytes(const void *data, size_t len, size_t *n, struct heard *h)
{
    char path[64];
    make_file(path, data, len);
    char *got = slurp(path, n, h);
    (void)unlink(path);
    return got;
}

static void whole_members(void **state)
{
    (void)state;
    struct heard h;
    size_t n;
    char *got = read_bytes(pair, sizeof pair, &n, &h);
    assert_int_equal(n, 13);
    assert_memory_equal(got, "abc\n123456789", 13);
    assert_int_equal(h.count, 0);
    free(got);
    got = read_bytes(empty, sizeof empty, &n, &h);
    assert_int_equal(n, 0);
    assert_int_equal(h.count, 0);
    free(got);
    got = read_bytes("", 0, &n, &h);
    assert_string_equal(h.codes, "empty");
    free(got);
}

/* Cut anywhere, the pair is torn, but at 27, where it is one whole member. */
static void truncations(void **state)
{
    (void)state;
    for (size_t cut = 1; cut < sizeof pair; cut++) {
        struct heard h;
        size_t n;
        char *got = read_bytes(pair, cut, &n, &h);
        if (cut == FIRST)
            assert_int_equal(h.count, 0);
        else
            assert_string_equal(h.codes, "torn");
        if (cut >= FIRST)
            assert_memory_equal(got, "abc\n", 4);
        /* What inflates of the torn one is there: its data begin 15 bytes after its header's first. */
        size_t second = cut > FIRST + 15 ? cut - FIRST - 15 : 0;
        size_t want = cut >= FIRST ? 4 + (second < 9 ? second : 9) : cut > 15 ? (cut - 15 < 4 ? cut - 15 : 4) : 0;
        assert_int_equal(n, want);
        assert_memory_equal(got, "abc\n123456789", n);
        free(got);
    }
}

/* Bits that mean nothing: FTEXT, MTIME, XFL, OS, and the padding after a stored block's header. */
static bool means_nothing(size_t byte, int bit)
{
    size_t at = byte < FIRST ? byte : byte - FIRST;
    return (at == 3 && bit == 0) || (at >= 4 && at <= 9) || (at == 10 && bit >= 3);
}

static void single_flips(void **state)
{
    (void)state;
    for (size_t byte = 0; byte < sizeof pair; byte++) {
        for (int bit = 0; bit < 8; bit++) {
            unsigned char bad[sizeof pair];
            memcpy(bad, pair, sizeof bad);
            bad[byte] ^= (unsigned char)(1 << bit);
            struct heard h;
            size_t n;
            char *got = read_bytes(bad, sizeof bad, &n, &h);
            if (means_nothing(byte, bit)) {
                assert_int_equal(h.count, 0);
                assert_int_equal(n, 13);
            } else if (byte < 2) {
                /* No gzip any more: handed on as it is, for the reader above to refuse. */
                assert_int_equal(n, sizeof bad);
                assert_memory_equal(got, bad, n);
            } else {
                assert_true(h.wrong > 0);
                /* The other member is untouched by it. */
                if (byte < FIRST) {
                    assert_int_equal(n, 9);
                    assert_memory_equal(got, "123456789", 9);
                } else {
                    assert_true(n >= 4);
                    assert_memory_equal(got, "abc\n", 4);
                }
            }
            free(got);
        }
    }
}

/* The header's optional fields, in RFC 1952's order; FHCRC is checked. */
static void header_fields(void **state)
{
    (void)state;
    unsigned char m[96] = {0x1f, 0x8b, 8, 0x1f, 1, 2, 3, 4, 2, 3, 3, 0, 'A', 'B', 'C', 'n', 'a', 0, 'h', 'i', 0};
    size_t at = 21;
    uint32_t crc = libdeflate_crc32(0, m, at);
    m[at++] = (unsigned char)crc;
    m[at++] = (unsigned char)(crc >> 8);
    memcpy(m + at, pair + 10, FIRST - 10);
    at += FIRST - 10;
    struct heard h;
    size_t n;
    char *got = read_bytes(m, at, &n, &h);
    assert_int_equal(n, 4);
    assert_int_equal(h.count, 0);
    free(got);
    m[15] ^= 1; /* the name is under the header's CRC */
    got = read_bytes(m, at, &n, &h);
    assert_int_equal(n, 0);
    assert_string_equal(h.codes, "damaged_member");
    free(got);
}

static void behind_the_end(void **state)
{
    (void)state;
    unsigned char file[4096];
    struct heard h;
    size_t n;
    memset(file, 0, sizeof file);
    memcpy(file, pair, sizeof pair);
    char *got = read_bytes(file, sizeof file, &n, &h);
    assert_int_equal(n, 13);
    assert_string_equal(h.codes, "trailing_zeros");
    assert_int_equal(h.wrong, 0);
    free(got);
    memcpy(file + sizeof pair, "hello", 5);
    got = read_bytes(file, sizeof pair + 5, &n, &h);
    assert_int_equal(n, 13);
    assert_string_equal(h.codes, "trailing_garbage");
    free(got);
    /* Zeros, and a member after them: the zeros were something once. */
    memset(file + sizeof pair, 0, 100);
    memcpy(file + sizeof pair + 100, pair, sizeof pair);
    got = read_bytes(file, 2 * sizeof pair + 100, &n, &h);
    assert_int_equal(n, 26);
    assert_string_equal(h.codes, "damaged_member");
    free(got);
}

/* Text of `lines` lines in members of `per` lines; returns malloc'd gzip, *ends the ends of the members. */
static unsigned char *make_members(unsigned lines, unsigned per, int level, size_t *n, size_t *ends)
{
    unsigned char *out = malloc(lines * 40 + 4096);
    assert_non_null(out);
    *n = 0;
    for (unsigned at = 0; at < lines; at += per) {
        char *text = malloc(per * 24 + 1);
        assert_non_null(text);
        size_t len = 0;
        for (unsigned i = at; i < at + per; i++)
            len += (size_t)sprintf(text + len, "%07u,%u\n", i, i * 2654435761u % 100000);
        z_stream z;
        memset(&z, 0, sizeof z);
        assert_int_equal(deflateInit2(&z, level, Z_DEFLATED, 31, 8, 0), Z_OK);
        z.next_in = (unsigned char *)text;
        z.avail_in = (unsigned)len;
        z.next_out = out + *n;
        z.avail_out = (unsigned)(lines * 40 + 4096 - *n);
        assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
        *n += z.total_out;
        if (ends)
            ends[at / per] = *n;
        (void)deflateEnd(&z);
        free(text);
    }
    return out;
}

/* A flip in one of 40 members costs that member's 100 lines and nothing else, wherever it is. */
static void damage_costs_itself(void **state)
{
    (void)state;
    size_t n, ends[40];
    unsigned char *gz = make_members(4000, 100, 6, &n, ends);
    struct heard h;
    size_t want_n;
    char *want = read_bytes(gz, n, &want_n, &h);
    assert_int_equal(h.count, 0);
    unsigned seed = 1;
    for (int k = 0; k < 300; k++) {
        seed = seed * 1103515245u + 12345u;
        unsigned m = 1 + (seed >> 8) % 38;
        seed = seed * 1103515245u + 12345u;
        size_t size = ends[m] - ends[m - 1];
        size_t at = ends[m - 1] + 10 + (seed >> 8) % (size - 10);
        gz[at] ^= (unsigned char)(1u << (seed >> 4) % 8);
        size_t got_n;
        char *got = read_bytes(gz, n, &got_n, &h);
        gz[at] ^= (unsigned char)(1u << (seed >> 4) % 8);
        assert_string_equal(h.codes, "damaged_member");
        char first[16], next[16];
        (void)sprintf(first, "%07u,", m * 100);
        (void)sprintf(next, "%07u,", (m + 1) * 100);
        size_t cut = (size_t)(strstr(want, first) - want), on = (size_t)(strstr(want, next) - want);
        assert_int_equal(got_n, want_n - (on - cut));
        assert_memory_equal(got, want, cut);
        assert_memory_equal(got + cut, want + on, want_n - on);
        free(got);
    }
    free(want);
    free(gz);
}

/* Through a pipe, a few bytes at a time, the same chunks' bytes and the same notices. */
static void tiny_reads(void **state)
{
    (void)state;
    size_t n;
    unsigned char *gz = make_members(30000, 3000, 1, &n, NULL);
    gz[n / 2] ^= 4;
    struct heard whole, split;
    size_t want_n, got_n;
    char *want = read_bytes(gz, n, &want_n, &whole);
    int fd[2];
    assert_int_equal(pipe(fd), 0);
    pid_t pid = fork();
    if (pid == 0) {
        unsigned seed = 7;
        (void)close(fd[0]);
        for (size_t at = 0; at < n;) {
            seed = seed * 1103515245u + 12345u;
            size_t k = 1 + (seed >> 8) % 977;
            k = k < n - at ? k : n - at;
            if (write(fd[1], gz + at, k) != (ssize_t)k)
                _exit(1);
            at += k;
        }
        _exit(0);
    }
    (void)close(fd[1]);
    int keep = dup(STDIN_FILENO);
    assert_true(dup2(fd[0], STDIN_FILENO) >= 0);
    char *got = slurp("-", &got_n, &split);
    (void)dup2(keep, STDIN_FILENO);
    int status;
    assert_int_equal(waitpid(pid, &status, 0), pid);
    assert_int_equal(status, 0);
    assert_string_equal(whole.codes, split.codes);
    assert_int_equal(got_n, want_n);
    assert_memory_equal(got, want, got_n);
    (void)close(fd[0]);
    free(got);
    free(want);
    free(gz);
}

/* 1 GiB of zeros in about 1 MB: streams through, in little memory; damage at its end is told. */
static void bomb(void **state)
{
    (void)state;
    size_t cap = 2u << 20, n = 0;
    unsigned char *gz = malloc(cap);
    static unsigned char zeros[1 << 16];
    z_stream z;
    memset(&z, 0, sizeof z);
    assert_non_null(gz);
    assert_int_equal(deflateInit2(&z, 9, Z_DEFLATED, 31, 8, 0), Z_OK);
    z.next_out = gz;
    z.avail_out = (unsigned)cap;
    for (int i = 0; i < 1 << 14; i++) {
        z.next_in = zeros;
        z.avail_in = sizeof zeros;
        assert_int_equal(deflate(&z, i + 1 < 1 << 14 ? Z_NO_FLUSH : Z_FINISH), i + 1 < 1 << 14 ? Z_OK : Z_STREAM_END);
    }
    n = z.total_out;
    (void)deflateEnd(&z);
    for (int damaged = 0; damaged < 2; damaged++) {
        gz[n - 6] ^= (unsigned char)damaged; /* in the CRC */
        char path[64];
        make_file(path, gz, n);
        struct heard h;
        struct notice_sink sink = heard_sink(&h);
        struct bytes *b;
        struct bytes_chunk c;
        uint64_t total = 0;
        struct rusage before, after;
        (void)getrusage(RUSAGE_SELF, &before);
        assert_int_equal(bytes_open(&b, path, &sink, NULL), TM_OK);
        enum bytes_rc rc;
        while ((rc = bytes_next(b, &c, NULL)) == BYTES_DATA)
            total += c.n;
        bytes_close(b);
        (void)getrusage(RUSAGE_SELF, &after);
        assert_int_equal(rc, BYTES_END);
        assert_int_equal(total, 1u << 30);
        assert_string_equal(h.codes, damaged ? "damaged_member" : "");
        assert_true(after.ru_maxrss - before.ru_maxrss < 8 << 10);
        (void)unlink(path);
    }
    free(gz);
}

/* FIPS 180-4's example "abc" has a well-known digest; here the stored bytes of a file, also read to the end when the
 * reader stopped early. */
static void digest(void **state)
{
    (void)state;
    char path[64], hex[65];
    make_file(path, "abc", 3);
    struct bytes *b;
    assert_int_equal(bytes_open(&b, path, NULL, NULL), TM_OK);
    assert_int_equal(bytes_sha256(b, hex, NULL), TM_OK);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    bytes_close(b);
    (void)unlink(path);
}

static void peek_consumes_nothing(void **state)
{
    (void)state;
    char path[64];
    make_file(path, pair, sizeof pair);
    struct bytes *b;
    const char *data;
    size_t got;
    assert_int_equal(bytes_open(&b, path, NULL, NULL), TM_OK);
    assert_int_equal(bytes_peek(b, 6, &data, &got, NULL), TM_OK);
    assert_int_equal(got, 6);
    assert_memory_equal(data, "abc\n12", 6);
    struct bytes_chunk c;
    assert_int_equal(bytes_next(b, &c, NULL), BYTES_DATA);
    assert_int_equal(c.n, 13);
    assert_true(c.starts_member);
    assert_int_equal(bytes_next(b, &c, NULL), BYTES_END);
    bytes_close(b);
    (void)unlink(path);
    assert_int_equal(bytes_open(&b, "/nonexistent/file", NULL, NULL), TM_ERR_SYSTEM);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_members),  cmocka_unit_test(truncations),         cmocka_unit_test(single_flips),
        cmocka_unit_test(header_fields),  cmocka_unit_test(behind_the_end),      cmocka_unit_test(damage_costs_itself),
        cmocka_unit_test(tiny_reads),     cmocka_unit_test(bomb),                cmocka_unit_test(digest),
        cmocka_unit_test(peek_consumes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
