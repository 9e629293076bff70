/* Command lines: long and short options, in any order with operands, `--` ends options, `-` is an operand.
 *
 * Own code and not getopt_long: that one is no part of POSIX, keeps its state in globals, prints by itself
 * and accepts abbreviations, which turn every new option into a break. */
#include "analyze/program/command.h"
#include "analyze/program/say.h"

#include <assert.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static int count_opts(const struct command *cmd)
{
    int n = 0;
    while (cmd->opts && cmd->opts[n].name)
        n++;
    assert(n <= ARGS_OPTS_MAX);
    return n;
}

static int find_long(const struct command *cmd, const char *name, size_t len)
{
    for (int i = 0, n = count_opts(cmd); i < n; i++)
        if (strlen(cmd->opts[i].name) == len && strncmp(cmd->opts[i].name, name, len) == 0)
            return i;
    return -1;
}

static int find_short(const struct command *cmd, char letter)
{
    for (int i = 0, n = count_opts(cmd); i < n; i++)
        if (cmd->opts[i].letter && cmd->opts[i].letter == letter)
            return i;
    return -1;
}

static int keep(struct args *a, int i, const char *value)
{
    if (a->value[i])
        return say_usage(a->cmd, "--%s is given twice", a->cmd->opts[i].name);
    a->value[i] = value;
    return EXIT_DONE;
}

static int parse_long(struct args *a, int argc, char **argv, int *at)
{
    const char *name = argv[*at] + 2;
    const char *eq = strchr(name, '=');
    const size_t len = eq ? (size_t)(eq - name) : strlen(name);
    const int i = find_long(a->cmd, name, len);
    if (i < 0)
        return say_usage(a->cmd, "there is no option --%.*s", (int)len, name);
    if (!a->cmd->opts[i].arg) {
        if (eq)
            return say_usage(a->cmd, "--%.*s takes no value", (int)len, name);
        return keep(a, i, "");
    }
    if (eq)
        return keep(a, i, eq + 1);
    if (*at + 1 >= argc)
        return say_usage(a->cmd, "--%s needs a value: %s", name, a->cmd->opts[i].arg);
    return keep(a, i, argv[++*at]);
}

static int parse_short(struct args *a, int argc, char **argv, int *at)
{
    for (const char *p = argv[*at] + 1; *p; p++) {
        const int i = find_short(a->cmd, *p);
        if (*p == 'h' && i < 0) {
            a->help = true;
            return EXIT_DONE;
        }
        if (i < 0)
            return say_usage(a->cmd, "there is no option -%c", *p);
        if (!a->cmd->opts[i].arg) {
            const int rc = keep(a, i, "");
            if (rc != EXIT_DONE)
                return rc;
            continue;
        }
        if (p[1])
            return keep(a, i, p + 1);
        if (*at + 1 >= argc)
            return say_usage(a->cmd, "-%c needs a value: %s", *p, a->cmd->opts[i].arg);
        return keep(a, i, argv[++*at]);
    }
    return EXIT_DONE;
}

int args_parse(struct args *a, const struct command *cmd, int argc, char **argv, int first)
{
    memset(a, 0, sizeof *a);
    a->cmd = cmd;
    a->operands = argv + first;
    bool only_operands = false;
    for (int i = first; i < argc; i++) {
        char *s = argv[i];
        int rc = EXIT_DONE;
        if (only_operands || s[0] != '-' || s[1] == '\0')
            a->operands[a->n_operands++] = s; /* never ahead of i: at most one written per one read */
        else if (strcmp(s, "--") == 0)
            only_operands = true;
        else if (strcmp(s, "--help") == 0)
            a->help = true;
        else
            rc = s[1] == '-' ? parse_long(a, argc, argv, &i) : parse_short(a, argc, argv, &i);
        if (rc != EXIT_DONE)
            return rc;
        if (a->help)
            return EXIT_DONE;
    }
    if (a->n_operands < cmd->operands_min)
        return say_usage(cmd, "%s is missing", cmd->operands);
    if (cmd->operands_max >= 0 && a->n_operands > cmd->operands_max)
        return say_usage(cmd, "'%s' is one argument too many", a->operands[cmd->operands_max]);
    return EXIT_DONE;
}

const char *args_value(const struct args *a, const char *name)
{
    const int i = find_long(a->cmd, name, strlen(name));
    assert(i >= 0);
    return i >= 0 ? a->value[i] : NULL;
}

bool args_given(const struct args *a, const char *name)
{
    return args_value(a, name) != NULL;
}

int args_number(const struct args *a, const char *name, double low, double high, double *out)
{
    const char *s = args_value(a, name);
    if (!s)
        return EXIT_DONE;
    char *end = NULL;
    /* The program never calls setlocale, so that '.' is the decimal point here. */
    const double v = strtod(s, &end);
    if (end == s || *end || !isfinite(v) || strspn(s, "0123456789+-.eE") != strlen(s))
        return say_usage(a->cmd, "--%s takes a number, not '%s'", name, s);
    if (v < low || v > high)
        return say_usage(a->cmd, "--%s %s is not between %g and %g", name, s, low, high);
    *out = v;
    return EXIT_DONE;
}

int args_integer(const struct args *a, const char *name, long low, long high, long *out)
{
    const char *s = args_value(a, name);
    if (!s)
        return EXIT_DONE;
    char *end = NULL;
    errno = 0;
    const long v = strtol(s, &end, 10);
    if (end == s || *end || errno || strspn(s, "0123456789+-") != strlen(s))
        return say_usage(a->cmd, "--%s takes a whole number, not '%s'", name, s);
    if (v < low || v > high)
        return say_usage(a->cmd, "--%s %s is not between %ld and %ld", name, s, low, high);
    *out = v;
    return EXIT_DONE;
}
