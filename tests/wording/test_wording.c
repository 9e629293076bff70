/* The wording stands in one table (analyze/tables/wording.c); README.md and docs/cautions.md repeat it to the
 * letter, and the table keeps the rules of tone. Sources of the rules: docs/cautions.md. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <ctype.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "analyze/tables/wording.h"

/* A page as one line: quote marks at a line's start dropped, all white space one blank. */
static char *page(const char *path)
{
    FILE *f = fopen(path, "rb");
    if (!f) {
        fail_msg("%s cannot be opened (tests run in the repository's root)", path);
    }
    size_t cap = 1u << 20, n = 0;
    char *text = malloc(cap);
    assert_non_null(text);
    bool line_start = true, blank = true;
    for (int c; (c = getc(f)) != EOF && n + 1 < cap;) {
        if (line_start && (c == '>' || c == ' ')) {
            continue;
        }
        line_start = c == '\n';
        if (isspace(c)) {
            c = ' ';
        }
        if (c != ' ' || !blank) {
            text[n++] = (char)c;
        }
        blank = c == ' ';
    }
    text[n] = '\0';
    assert_int_equal(fclose(f), 0);
    return text;
}

static void holds(const char *text, const char *path, const char *line)
{
    if (!strstr(text, line)) {
        fail_msg("%s lacks, to the letter: %s", path, line);
    }
}

static void readme_has_the_medium_form(void **state)
{
    (void)state;
    char *text = page("README.md");
    size_t i = 0;
    for (const char *line; (line = wording_medium(i)); i++) {
        holds(text, "README.md", line);
    }
    assert_int_equal(i, 3);
    /* Hidden below the build instructions it would not be read. */
    const char *build = strstr(text, "cmake");
    assert_non_null(build);
    assert_true(strstr(text, wording_medium(0)) < build);
    holds(text, "README.md", "docs/cautions.md");
    holds(text, "README.md", "biomedical engineering");
    free(text);
}

static void cautions_has_the_long_form(void **state)
{
    (void)state;
    char *text = page("docs/cautions.md");
    holds(text, "docs/cautions.md", wording_short());
    size_t i = 0;
    for (const char *line; (line = wording_long(i)); i++) {
        holds(text, "docs/cautions.md", line);
    }
    assert_int_equal(i, 12);
    free(text);
}

static void cautions_has_the_limits(void **state)
{
    (void)state;
    char *text = page("docs/cautions.md");
    size_t i = 0;
    for (const struct wording_limit *l; (l = wording_limit(i)); i++) {
        holds(text, "docs/cautions.md", l->statement);
        holds(text, "docs/cautions.md", l->why);
        holds(text, "docs/cautions.md", l->where);
    }
    assert_int_equal(i, 11);
    free(text);
}

static void calm(const char *line)
{
    assert_non_null(line);
    assert_true(line[0] != '\0');
    for (const char *p = line; *p; p++) {
        if ((unsigned char)*p < 0x20 || (unsigned char)*p > 0x7e || *p == '!') {
            fail_msg("not plain ASCII, or shouting: %s", line);
        }
    }
}

static void tone(void **state)
{
    (void)state;
    assert_true(strlen(wording_short()) <= 79);
    calm(wording_short());
    for (size_t i = 0; wording_medium(i); i++) {
        calm(wording_medium(i));
    }
    for (size_t i = 0; wording_long(i); i++) {
        calm(wording_long(i));
    }
    calm(wording_intended_use());
    calm(wording_identifiability());
    calm(wording_electrical());
    calm(wording_privacy());
    calm(wording_export());
    assert_true(wording_version() >= 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(readme_has_the_medium_form), cmocka_unit_test(cautions_has_the_long_form),
        cmocka_unit_test(cautions_has_the_limits), cmocka_unit_test(tone)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
