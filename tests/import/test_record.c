/* Records and fields: the grammar of RFC 4180, and what is accepted beyond it. */
#include "ingest/import/record.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define N(a) (sizeof(a) / sizeof(a)[0])

/* The fields of the first record, joined by '|'. */
static const char *fields(const char *text, size_t n, char delimiter, struct record *r)
{
    static char out[256];
    struct field f[16];
    size_t at = 0;
    *r = record_take(text, n, delimiter, true);
    size_t count = record_split(r, delimiter, f, N(f));
    assert_true(count <= N(f));
    out[0] = '\0';
    for (size_t i = 0; i < count; i++)
        at += (size_t)snprintf(out + at, sizeof out - at, "%s%.*s", i ? "|" : "", (int)f[i].n, f[i].p);
    return out;
}

static void grammar(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        char delimiter;
        const char *fields;
        unsigned lines;
    } table[] = {
        {"a,b,c\r\n", ',', "a|b|c", 1},
        {"a,b,c", ',', "a|b|c", 1},
        {"a,b,c\n", ',', "a|b|c", 1},
        {"a,b,c\rd", ',', "a|b|c", 1},
        {"\"a\",\"b \"\"c\"\"\",d", ',', "a|b \"\"c\"\"|d", 1}, /* doubled quotes stay doubled: no number has them */
        {"\"a\r\nb\",c", ',', "a\r\nb|c", 2},
        {",,", ',', "||", 1},
        {"\"\"", ',', "", 1},
        {"a, b ", ',', "a|b", 1}, /* RFC 4180 keeps spaces; around a number they mean nothing */
        {"a,b\"c,d", ',', "a|b\"c|d", 1}, /* not in the grammar: accepted as it stands */
        {"1;2", ';', "1|2", 1},
        {"1\t \t2", '\t', "1||2", 1},
        {"  1   2 3 ", ' ', "1|2|3", 1},
        {"1, \"2,5\" ,3", ',', "1|2,5|3", 1},
    };
    for (size_t i = 0; i < N(table); i++) {
        struct record r;
        const char *got = fields(table[i].text, strlen(table[i].text), table[i].delimiter, &r);
        if (strcmp(got, table[i].fields) != 0 || r.kind != REC_ROW || r.lines != table[i].lines)
            fail_msg("%s: %s, kind %d, lines %u", table[i].text, got, (int)r.kind, (unsigned)r.lines);
    }
}

static void kinds(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        bool final;
        enum record_kind kind;
        size_t used;
    } table[] = {
        {"", true, REC_MORE, 0},
        {"1,2", false, REC_MORE, 0},
        {"1,2\r", false, REC_MORE, 0}, /* a line feed may follow */
        {"1,2\r", true, REC_ROW, 4},
        {"\n1", false, REC_BLANK, 1},
        {" \t\n", false, REC_BLANK, 3},
        {"# \"x\n1", false, REC_COMMENT, 5},
        {"  % x\r\n1", false, REC_COMMENT, 7},
        {"# x", false, REC_MORE, 0},
        {"a,\"b\nc,d\n", false, REC_MORE, 0},
        {"a,\"b\nc,d\n", true, REC_UNCLOSED, 5}, /* only the line on which it opened */
        {"a,\"b", true, REC_UNCLOSED, 4},
        {"\"a\"x,b\nc\n", true, REC_STRAY, 7},
        {"\"a\nb\"x\nc\n", true, REC_STRAY, 3},
    };
    for (size_t i = 0; i < N(table); i++) {
        struct record r = record_take(table[i].text, strlen(table[i].text), ',', table[i].final);
        if (r.kind != table[i].kind || r.used != table[i].used)
            fail_msg("%s: kind %d, used %zu", table[i].text, (int)r.kind, r.used);
    }
    assert_int_equal(record_take("1,\0002\n", 5, ',', false).kind, REC_BINARY);
}

static void ragged(void **state)
{
    (void)state;
    struct record r;
    struct field f[4];
    r = record_take("c\r\n", 3, ',', false);
    assert_int_equal(record_split(&r, ',', f, 4), 1);
    r = record_take("1,2,3,4,5,6\n", 12, ',', false);
    assert_int_equal(record_split(&r, ',', f, 4), 6); /* counted beyond the room */
}

static void long_lines(void **state)
{
    (void)state;
    size_t n = 1000000;
    char *text = malloc(n);
    assert_non_null(text);
    memset(text, '1', n);
    text[n - 1] = '\n';
    struct record r = record_take(text, n, ',', false);
    assert_int_equal(r.kind, REC_LONG);
    bool done;
    assert_int_equal(r.used + record_pass(text + r.used, n - r.used, false, &done), n);
    assert_true(done);
    text[0] = '"'; /* an open quote swallows no more than its line's share */
    r = record_take(text, n, ',', false);
    assert_int_equal(r.kind, REC_LONG);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(grammar), cmocka_unit_test(kinds), cmocka_unit_test(ragged),
                                       cmocka_unit_test(long_lines)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
