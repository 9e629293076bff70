/* Single lines, and the two checksums' published check values. */
#include "ingest/log/crc16.h"
#include "ingest/log/line.h"

#include <libdeflate.h>
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include <zlib.h>

/* Public CRC catalogue: CRC-16/IBM-3740 and CRC-32 of "123456789". */
static void check_values(void **state)
{
    (void)state;
    assert_int_equal(crc16("123456789", 9), 0x29b1);
    assert_int_equal(crc16("", 0), 0xffff);
    assert_int_equal(libdeflate_crc32(0, "123456789", 9), 0xcbf43926);
    assert_int_equal(crc32(0, (const unsigned char *)"123456789", 9), 0xcbf43926);
}

/* Bit by bit, from the polynomial: a second implementation. */
static uint16_t crc16_bits(const unsigned char *p, size_t n)
{
    unsigned crc = 0xffff;
    for (size_t i = 0; i < n; i++) {
        crc ^= (unsigned)p[i] << 8;
        for (int b = 0; b < 8; b++)
            crc = crc & 0x8000 ? (crc << 1 ^ 0x1021) & 0xffff : crc << 1;
    }
    return (uint16_t)crc;
}

static void wire_checksum(void **state)
{
    (void)state;
    unsigned char all[256];
    for (int i = 0; i < 256; i++)
        all[i] = (unsigned char)i;
    for (size_t n = 0; n <= 256; n++)
        assert_int_equal(crc16(all, n), crc16_bits(all, n));
    char line[64] = "12.34,-0.523";
    size_t n = line_add_crc(line, 12);
    assert_int_equal(n, 18);
    size_t k = n;
    assert_int_equal(line_strip_crc(line, &k), LINE_CRC_GOOD);
    assert_int_equal(k, 12);
    for (size_t byte = 0; byte < 12; byte++)
        for (int bit = 0; bit < 8; bit++) {
            line[byte] ^= (char)(1 << bit);
            k = n;
            assert_int_equal(line_strip_crc(line, &k), LINE_CRC_BAD);
            line[byte] ^= (char)(1 << bit);
        }
    k = 12;
    assert_int_equal(line_strip_crc(line, &k), LINE_CRC_NONE);
    assert_int_equal(k, 12);
}

static void samples(void **state)
{
    (void)state;
    struct line_sample s;
    assert_true(line_parse_sample("12.34,-0.523", 12, &s));
    assert_int_equal(s.n, 2);
    assert_int_equal(s.step_ns, -1);
    assert_true(s.value[0] == 12.34 && s.value[1] == -0.523);
    assert_true(line_parse_sample(",-0.518", 7, &s));
    assert_true(isnan(s.value[0]) && s.value[1] == -0.518);
    assert_true(line_parse_sample("+20000,12.29,-0.511", 19, &s));
    assert_int_equal(s.step_ns, 20000000);
    assert_int_equal(s.n, 2);
    assert_true(line_parse_sample("+0.125,1", 8, &s));
    assert_int_equal(s.step_ns, 125);
    assert_true(line_parse_sample(",", 1, &s));
    assert_int_equal(s.n, 2);
    static const char *const bad[] = {"1,2x",  "1 ,2",   "1e3,2", ".5,1",      "5.,1",  "+,1", "+1.2345,1", "+20000",
                                      "--1,2", "nan,1",  "1,+2",  "+1 000,1,2", "1,2,,x", "0x10,1"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_false(line_parse_sample(bad[i], strlen(bad[i]), &s));
    static const char many[] = "1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1";
    assert_true(line_parse_sample(many, 2 * LINE_FIELDS - 1, &s));
    assert_false(line_parse_sample(many, strlen(many), &s));
}

static void times(void **state)
{
    (void)state;
    struct line_time t;
    assert_true(line_parse_time("@3601.000 100", 13, &t));
    assert_int_equal(t.t_ns, 3601000000000);
    assert_int_equal(t.count, 100);
    assert_true(line_parse_time("@-0.5 -", 7, &t));
    assert_int_equal(t.t_ns, -500000000);
    assert_int_equal(t.count, LINE_NO_COUNT);
    static const char host[] = "@1.0 7 2026-03-04T22:30:03Z 12.5";
    assert_true(line_parse_time(host, strlen(host), &t));
    assert_true(t.has_host);
    assert_int_equal(t.wall_ns, 1772663403000000000);
    assert_int_equal(t.monotonic_ns, 12500000000);
    static const char *const bad[] = {"@",      "@1",        "@1 ",           "@1.0000000001 1", "@1 x",
                                      "@x 1",   "@1  1",     "@1 1 2",        "@1 -1",           "@1 1 ",
                                      "@+1 1",  "@1. 1",     "@1 1 2026 1.0", "@99999999999999999999 1"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_false(line_parse_time(bad[i], strlen(bad[i]), &t));
}

static void others(void **state)
{
    (void)state;
    struct line_mark m;
    static const char mark[] = "!3601.5 2026-03-04T22:30:03Z suction by=x note=a%20b";
    assert_true(line_parse_mark(mark, strlen(mark), &m));
    assert_int_equal(m.at_ns, 3601500000000);
    assert_true(m.entered_known && m.entered_is_wall);
    assert_int_equal(m.kind_n, 7);
    assert_memory_equal(m.text, "by=x note=a%20b", m.text_n);
    assert_true(line_parse_mark("!1 - hold", 9, &m));
    assert_false(m.entered_known);
    assert_true(line_parse_mark("!1 2.5 hold", 11, &m));
    assert_true(m.entered_known && !m.entered_is_wall);
    assert_int_equal(m.entered_ns, 2500000000);
    assert_false(line_parse_mark("!1 yesterday hold", 17, &m));
    assert_false(line_parse_mark("!1 -", 4, &m));
    struct line_gap g;
    assert_true(line_parse_gap("~ cable-out 12.4", 16, &g));
    assert_int_equal(g.lost_ns, 12400000000);
    assert_true(line_parse_gap("~ x", 3, &g));
    assert_int_equal(g.lost_ns, -1);
    assert_false(line_parse_gap("~", 1, &g));
    assert_false(line_parse_gap("~ x -1", 6, &g));
    struct line_clock c;
    assert_true(line_parse_clock("^ reset -3600.2", 15, &c));
    assert_true(c.step_known);
    assert_int_equal(c.step_ns, -3600200000000);
    assert_true(line_parse_clock("^ wrap -", 8, &c));
    assert_false(c.step_known);
    uint64_t count;
    assert_true(line_parse_close(".864000", 7, &count));
    assert_int_equal(count, 864000);
    assert_false(line_parse_close(".", 1, &count));
    assert_false(line_parse_close(".1x", 3, &count));
    assert_int_equal(line_kind("#x", 2), LINE_OTHER);
    assert_int_equal(line_kind("", 0), LINE_EMPTY);
}

static void percent_encoding(void **state)
{
    (void)state;
    char all[256], enc[1024], back[256];
    for (int i = 0; i < 255; i++)
        all[i] = (char)(i + 1);
    all[255] = '\0';
    size_t n = line_encode(enc, sizeof enc, all);
    assert_int_equal(strspn(enc, "!\"#$%&'()*+,-./0123456789:<>?@ABCDEFGHIJKLMNOPQRSTUVWXYZ[\\]^_`"
                                 "abcdefghijklmnopqrstuvwxyz{|}~"),
                     n);
    assert_int_equal(line_decode(back, sizeof back, enc, n), 255);
    assert_memory_equal(back, all, 256);
    assert_int_equal(line_encode(enc, 4, "a b"), 1); /* not half an escape */
    assert_int_equal(line_decode(back, sizeof back, "%4%zz%", 6), 6);
    assert_string_equal(back, "%4%zz%");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(check_values), cmocka_unit_test(wire_checksum), cmocka_unit_test(samples),
        cmocka_unit_test(times),        cmocka_unit_test(others),        cmocka_unit_test(percent_encoding),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
