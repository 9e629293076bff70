/* Bytes to lines: any split gives the same lines, junk costs its own line, the checksum is the published one. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/log/crc16.h"
#include "ingest/serial/assemble.h"

struct heard {
    char text[65536]; /* one line per line: state, number, offset, length, first, text */
    size_t n;
    int count;
};

static void hear(void *user, const struct wire_line *l)
{
    struct heard *h = user;
    assert_int_equal(strlen(l->text), l->n);
    h->n += (size_t)snprintf(h->text + h->n, sizeof h->text - h->n, "%d %llu %llu %llu %d [%s]\n", (int)l->state,
                             (unsigned long long)l->number, (unsigned long long)l->offset,
                             (unsigned long long)l->length, l->first, l->text);
    assert_true(h->n < sizeof h->text);
    h->count++;
}

static void feed(struct heard *h, const char *bytes, size_t n, size_t piece)
{
    struct assemble a;
    assemble_init(&a);
    memset(h, 0, sizeof *h);
    for (size_t i = 0; i < n; i += piece)
        assemble_push(&a, bytes + i, n - i < piece ? n - i : piece, hear, h);
}

/* Check value 29B1 of "123456789" for polynomial 1021, start FFFF, not reflected: the catalogue of
 * parametrised CRC algorithms, entry CRC-16/IBM-3740. Empty input gives the start value by definition. */
static void crc_is_the_published_one(void **state)
{
    (void)state;
    assert_int_equal(crc16("123456789", 9), 0x29B1);
    assert_int_equal(crc16("", 0), 0xFFFF);
    /* The property that defines it: with the CRC appended the remainder is zero. */
    const unsigned char whole[] = {'1', '2', '3', '4', '5', '6', '7', '8', '9', 0x29, 0xB1};
    assert_int_equal(crc16(whole, sizeof whole), 0);
}

/* A second implementation: long division, one message bit at a time. */
static unsigned crc_by_division(const unsigned char *p, size_t n)
{
    unsigned rem = 0xFFFF;
    for (size_t bit = 0; bit < 8 * n; bit++) {
        const unsigned in = p[bit / 8] >> (7 - bit % 8) & 1;
        const unsigned top = rem >> 15 & 1;
        rem = rem << 1 & 0xFFFF;
        if (top ^ in)
            rem ^= 0x1021;
    }
    return rem;
}

static void crc_agrees_with_long_division(void **state)
{
    (void)state;
    unsigned char b[300];
    unsigned x = 1;
    for (size_t n = 0; n < sizeof b; n++) {
        x = x * 1103515245u + 12345u;
        b[n] = (unsigned char)(x >> 16);
        assert_int_equal(crc16(b, n + 1), crc_by_division(b, n + 1));
    }
}

static void lines_and_their_states(void **state)
{
    (void)state;
    const char in[] = "12.3,-0.5\n"          /* plain, may be cut in front */
                      "123456789 $29B1\r\n"  /* checked, carriage return dropped, capital digits */
                      "123456789 $29b1\n"    /* small digits */
                      "123456780 $29B1\n"    /* one digit wrong */
                      "123456789 $29B\n"     /* checksum torn */
                      "\n\r\n"               /* nothing */
                      "a\x80z\n"             /* not ASCII */
                      "x\ry\n"               /* a carriage return inside */
                      "tail without end";
    static struct heard h;
    feed(&h, in, sizeof in - 1, sizeof in);
    assert_string_equal(h.text, "0 1 0 9 1 [12.3,-0.5]\n"
                                "1 2 10 16 0 [123456789]\n"
                                "1 3 27 15 0 [123456789]\n"
                                "2 4 43 15 0 [123456780]\n"
                                "0 5 59 14 0 [123456789 $29B]\n"
                                "3 8 77 3 0 [a\x80z]\n"
                                "3 9 81 3 0 [x\ry]\n");
}

static void count_junk(void *user, const struct wire_line *l)
{
    assert_int_equal(l->state, WIRE_JUNK);
    assert_int_equal(l->n, 5);
    ++*(int *)user;
}

static void a_nul_byte_is_junk(void **state)
{
    (void)state;
    struct assemble a;
    assemble_init(&a);
    int junk = 0;
    assemble_push(&a, "1,2\0" "3\n", 6, count_junk, &junk);
    assert_int_equal(junk, 1);
}

static void a_dropped_tail_leaves_offsets_right(void **state)
{
    (void)state;
    static struct heard h;
    struct assemble a;
    assemble_init(&a);
    assemble_push(&a, "1,2\n", 4, hear, &h);
    assert_int_equal(assemble_drop(&a), 0);
    assemble_push(&a, "1,", 2, hear, &h);
    assert_int_equal(assemble_drop(&a), 2);
    assemble_push(&a, "3,4\n", 4, hear, &h);
    assert_string_equal(h.text, "0 1 0 3 1 [1,2]\n0 2 6 3 0 [3,4]\n");
}

static void a_long_line_costs_itself(void **state)
{
    (void)state;
    static char in[1000016];
    memset(in, '7', 1000000);
    memcpy(in + 1000000, "\n1.0,2.0\n", 10);
    static struct heard h;
    feed(&h, in, 1000009, 4096);
    assert_int_equal(h.count, 2);
    assert_non_null(strstr(h.text, "0 2 1000001 7 0 [1.0,2.0]\n"));
    assert_true(strncmp(h.text, "4 1 0 1000000 1 [777", 20) == 0);
}

static void any_split_gives_the_same_lines(void **state)
{
    (void)state;
    static char in[6000];
    unsigned x = 7;
    for (size_t i = 0; i < sizeof in; i++) {
        x = x * 1103515245u + 12345u;
        static const char set[] = "0123456789,.-@%!~^+ $AF\n\n\n\r\x01\xFF";
        in[i] = set[(x >> 16) % (sizeof set - 1)];
    }
    static struct heard whole, pieces;
    feed(&whole, in, sizeof in, sizeof in);
    assert_true(whole.count > 100);
    for (size_t piece = 1; piece < 200; piece += piece < 20 ? 1 : 37) {
        feed(&pieces, in, sizeof in, piece);
        assert_string_equal(pieces.text, whole.text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(crc_is_the_published_one),       cmocka_unit_test(crc_agrees_with_long_division),
        cmocka_unit_test(lines_and_their_states),
        cmocka_unit_test(a_nul_byte_is_junk),
        cmocka_unit_test(a_dropped_tail_leaves_offsets_right),
        cmocka_unit_test(a_long_line_costs_itself),       cmocka_unit_test(any_split_gives_the_same_lines),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
