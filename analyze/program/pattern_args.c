#include "analyze/program/pattern_args.h"
#include "analyze/program/say.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILE_MOST 65536 /* bytes; all parameters there are take a few kilobytes */

/* One "NAME=VALUE", blanks around it allowed. */
static int one(const struct args *a, const char *where, const char *s, size_t n, struct pattern_settings *out)
{
    char item[128];
    const char *why, *blanks = " \t\r";
    while (n > 0 && strchr(blanks, s[0])) {
        s++;
        n--;
    }
    while (n > 0 && strchr(blanks, s[n - 1]))
        n--;
    if (n == 0)
        return EXIT_DONE;
    if (n >= sizeof item)
        return say_usage(a->cmd, "%s: '%.40s...' is too long", where, s);
    memcpy(item, s, n);
    item[n] = '\0';
    const char *eq = strchr(item, '=');
    if (!eq)
        return say_usage(a->cmd, "%s takes PATTERN.PARAM=VALUE, not '%s'", where, item);
    char *end = NULL;
    const double v = strtod(eq + 1, &end);
    if (end == eq + 1 || *end || !isfinite(v) || strspn(eq + 1, "0123456789+-.eE") != strlen(eq + 1))
        return say_usage(a->cmd, "%s takes a number, not '%s'", where, item);
    if (!pattern_set(out, item, (size_t)(eq - item), v, &why))
        return say_usage(a->cmd, "%s %s: %s; `tidemark describe PATTERN` lists them", where, item, why);
    return EXIT_DONE;
}

static int several(const struct args *a, const char *where, const char *s, struct pattern_settings *out)
{
    int rc = EXIT_DONE;
    while (rc == EXIT_DONE && *s) {
        const size_t n = strcspn(s, ",\n#");
        rc = one(a, where, s, n, out);
        s += n;
        if (*s == '#')
            s += strcspn(s, "\n");
        if (*s)
            s++;
    }
    return rc;
}

static int from_file(const struct args *a, const char *path, struct pattern_settings *out)
{
    FILE *f = fopen(path, "rb");
    if (!f)
        return say_usage(a->cmd, "--settings %s: %s", path, strerror(errno));
    char *text = malloc(FILE_MOST + 1);
    const size_t n = text ? fread(text, 1, FILE_MOST + 1, f) : 0;
    const bool bad = ferror(f) != 0;
    int rc = EXIT_DONE;
    if (!text)
        rc = say_usage(a->cmd, "out of memory");
    else if (bad || n > FILE_MOST || memchr(text, '\0', n))
        rc = say_usage(a->cmd, "--settings %s: this is no file of parameters", path);
    if (rc == EXIT_DONE && text) {
        text[n] = '\0';
        rc = several(a, "--settings", text, out);
    }
    (void)fclose(f);
    free(text);
    return rc;
}

int patterns_from_args(const struct args *a, struct pattern_settings *s)
{
    const char *list = args_value(a, "set"), *file = args_value(a, "settings");
    pattern_defaults(s);
    int rc = file ? from_file(a, file, s) : EXIT_DONE;
    if (rc == EXIT_DONE && list)
        rc = several(a, "--set", list, s);
    return rc;
}
