#include "analyze/program/say.h"
#include "analyze/tables/wording.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void say_who(const struct command *cmd)
{
    (void)fflush(stdout);
    if (cmd)
        (void)fprintf(stderr, "tidemark %s: ", cmd->name);
    else
        (void)fputs("tidemark: ", stderr);
}

/* What comes from a file may hold anything: control bytes must not reach a terminal. */
static void say_clean(const char *s)
{
    for (; *s; s++)
        (void)fputc((unsigned char)*s < 0x20 || *s == 0x7f ? '?' : *s, stderr);
}

static void say_where(const char *file, unsigned long long line, unsigned long long column)
{
    if (!file || !file[0])
        return;
    say_clean(strcmp(file, "-") == 0 ? "standard input" : file);
    if (line)
        (void)fprintf(stderr, ":%llu", line);
    if (line && column)
        (void)fprintf(stderr, ":%llu", column);
    (void)fputs(": ", stderr);
}

/* Ends the line. */
static void say_mend(const char *mend)
{
    if (mend[0]) {
        (void)fputs(" (", stderr);
        say_clean(mend);
        (void)fputc(')', stderr);
    }
    (void)fputc('\n', stderr);
}

void say_error(const struct command *cmd, const struct err *e)
{
    say_who(cmd);
    say_where(e->file, e->line, e->column);
    say_clean(e->what[0] ? e->what : "failed");
    if (e->sys_errno)
        (void)fprintf(stderr, ": %s", strerror(e->sys_errno));
    say_mend(e->mend);
}

int say_usage(const struct command *cmd, const char *fmt, ...)
{
    say_who(cmd);
    va_list ap;
    va_start(ap, fmt);
    (void)vfprintf(stderr, fmt, ap);
    va_end(ap);
    if (cmd)
        (void)fprintf(stderr, " (tidemark %s --help tells how)\n", cmd->name);
    else
        (void)fputs(" (tidemark --help tells how)\n", stderr);
    return EXIT_USAGE;
}

void say(const struct command *cmd, const char *fmt, ...)
{
    say_who(cmd);
    va_list ap;
    va_start(ap, fmt);
    (void)vfprintf(stderr, fmt, ap);
    va_end(ap);
    (void)fputc('\n', stderr);
}

int say_bytes(void *unused, const void *data, size_t n)
{
    (void)unused;
    return fwrite(data, 1, n, stdout) == n ? TM_OK : TM_ERR_SYSTEM;
}

int status_of(int tm_rc)
{
    if (tm_rc == TM_OK)
        return EXIT_DONE;
    return tm_rc == TM_ERR_USAGE ? EXIT_USAGE : EXIT_NOTHING;
}

void say_caution(void)
{
    if (isatty(STDERR_FILENO) != 1)
        return;
    (void)fflush(stdout);
    (void)fprintf(stderr, "%s\n", wording_short());
}

int say_flushed(const struct command *cmd, int status)
{
    const int bad = ferror(stdout);
    if (fflush(stdout) != 0 || bad) {
        say(cmd, "standard output could not be written");
        return EXIT_OUTPUT;
    }
    return status;
}

#define NOTICE_CODES_MAX 64

struct notices {
    const struct command *cmd;
    size_t n;
    struct notice_count count[NOTICE_CODES_MAX];
};

struct notices *notices_new(const struct command *cmd)
{
    struct notices *n = calloc(1, sizeof *n);
    if (n)
        n->cmd = cmd;
    return n;
}

static struct notice_count *find(struct notices *all, const char *code)
{
    for (size_t i = 0; i < all->n; i++)
        if (strcmp(all->count[i].code, code) == 0)
            return &all->count[i];
    /* Codes are few and fixed; should a build ever know more, the last entry takes the rest. */
    if (all->n == NOTICE_CODES_MAX)
        return &all->count[NOTICE_CODES_MAX - 1];
    struct notice_count *c = &all->count[all->n++];
    c->code = code;
    return c;
}

void notices_hear(void *notices, const struct notice *n)
{
    struct notices *all = notices;
    struct notice_count *c = find(all, n->code ? n->code : "other");
    if (c->count++ == 0) {
        c->level = n->level;
        c->first_line = n->line;
        memcpy(c->first_what, n->what, sizeof c->first_what);
    } else if (n->level > c->level) {
        c->level = n->level;
    }
    if (c->count > NOTICES_SHOWN)
        return;
    say_who(all->cmd);
    say_where(n->file, n->line, n->column);
    say_clean(n->what);
    say_mend(n->mend);
}

int notices_end(struct notices *all)
{
    int status = EXIT_DONE;
    for (size_t i = 0; i < all->n; i++) {
        const struct notice_count *c = &all->count[i];
        if (c->count > NOTICES_SHOWN)
            say(all->cmd, "... and %llu more of %s", c->count - NOTICES_SHOWN, c->code);
        if (c->level != NOTICE_NOTE)
            status = EXIT_WRONG;
    }
    return status;
}

size_t notices_count(const struct notices *n)
{
    return n->n;
}

const struct notice_count *notices_get(const struct notices *n, size_t i)
{
    return i < n->n ? &n->count[i] : NULL;
}

void notices_free(struct notices *n)
{
    free(n);
}
