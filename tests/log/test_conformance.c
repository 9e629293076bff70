/* The conformance set, fixtures/log/good and bad: each file gives what its .expect says, which another program worked
 * out from the specification alone (fixtures/log/make.py). */
#include "tests/log/kit.h"

#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct expect {
    char value[10][256];
};
static const char *const keys[10] = {"exit", "samples", "paw_sum", "missing", "last_s",
                                     "gaps", "gap_s",   "marks",   "codes",   "closed"};

static bool read_expect(struct expect *x, const char *path)
{
    char name[320], line[300];
    memset(x, 0, sizeof *x);
    (void)snprintf(name, sizeof name, "%s.expect", path);
    FILE *f = fopen(name, "r");
    if (!f)
        return false;
    while (fgets(line, sizeof line, f)) {
        line[strcspn(line, "\n")] = '\0';
        char *eq = strchr(line, '=');
        for (int k = 0; eq && k < 10; k++)
            if (strlen(keys[k]) == (size_t)(eq - line) && memcmp(keys[k], line, (size_t)(eq - line)) == 0)
                (void)snprintf(x->value[k], sizeof x->value[k], "%s", eq + 1);
    }
    (void)fclose(f);
    return true;
}

/* What the reading came to, in the same words. */
static void describe(struct expect *x, const struct got *g)
{
    double sum = 0;
    size_t missing = 0;
    memset(x, 0, sizeof *x);
    for (size_t i = 0; i < g->n; i++) {
        double p = g->sample[i].v[CH_PAW];
        missing += isnan(p) != 0;
        sum += isnan(p) ? 0 : p;
    }
    const size_t cap = sizeof x->value[0];
    bool useless = g->rc == SRC_GONE || g->n == 0;
    (void)snprintf(x->value[0], cap, "%d", useless ? 3 : g->heard.wrong > 0);
    (void)snprintf(x->value[1], cap, "%zu", g->n);
    (void)snprintf(x->value[2], cap, "%.6f", sum);
    (void)snprintf(x->value[3], cap, "%zu", missing);
    (void)snprintf(x->value[4], cap, "%.9f", g->n ? (double)g->sample[g->n - 1].t_ns / 1e9 : 0);
    for (size_t i = 0; i < g->gaps && i < 8; i++) {
        size_t used = strlen(x->value[5]);
        (void)snprintf(x->value[5] + used, cap - used, "%s%s", i ? " " : "", g->gap[i].reason);
    }
    (void)snprintf(x->value[6], cap, "%.6f", g->gap_s);
    (void)snprintf(x->value[7], cap, "%zu", g->marks);
    (void)snprintf(x->value[8], cap, "%.200s", g->heard.codes);
    (void)snprintf(x->value[9], cap, "%s", g->closed_well ? "yes" : "no");
}

static bool agrees(int key, const char *want, const char *got)
{
    bool number = key == 2 || key == 4 || key == 6;
    if (number)
        return want[0] == '\0' ? atof(got) == 0 : fabs(atof(want) - atof(got)) < (key == 2 ? 1e-5 : 1e-6);
    return strcmp(want, got) == 0;
}

static int check_folder(const char *folder)
{
    int files = 0, failed = 0;
    DIR *d = opendir(folder);
    assert_non_null(d);
    struct dirent *entry;
    while ((entry = readdir(d))) {
        char path[300];
        struct expect want, got;
        struct got g;
        size_t n = strlen(entry->d_name);
        if (entry->d_name[0] == '.' || (n > 7 && strcmp(entry->d_name + n - 7, ".expect") == 0))
            continue;
        (void)snprintf(path, sizeof path, "%s/%.200s", folder, entry->d_name);
        files++;
        if (!read_expect(&want, path)) {
            print_error("%s has no .expect\n", path);
            failed++;
            continue;
        }
        read_log(&g, path, 0);
        describe(&got, &g);
        for (int k = 0; k < 10; k++) {
            if (agrees(k, want.value[k], got.value[k]))
                continue;
            print_error("%s: %s is %s, not %s\n", path, keys[k], got.value[k], want.value[k]);
            failed++;
        }
        /* A refusal names the file and says why. */
        if (g.rc == SRC_GONE && (g.e.what[0] == '\0' || !strstr(g.e.file, entry->d_name))) {
            print_error("%s: refused without a word\n", path);
            failed++;
        }
        got_free(&g);
    }
    (void)closedir(d);
    assert_int_equal(failed, 0);
    return files;
}

static void good_files(void **state)
{
    (void)state;
    assert_true(check_folder("fixtures/log/good") >= 10);
}

static void bad_files(void **state)
{
    (void)state;
    assert_true(check_folder("fixtures/log/bad") >= 15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_files),
        cmocka_unit_test(bad_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
