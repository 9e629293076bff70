#include "tests/serial/run_script.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int run_setup(void **state)
{
    struct run *run = calloc(1, sizeof *run);
    if (!run)
        return -1;
    *state = run;
    (void)snprintf(run->folder, sizeof run->folder, "/tmp/tidemark-recorder-XXXXXX");
    if (!mkdtemp(run->folder))
        return -1;
    (void)snprintf(run->path, sizeof run->path, "%s/night.log", run->folder);
    return 0;
}

int run_teardown(void **state)
{
    struct run *run = *state;
    (void)unlink(run->path);
    const int rc = rmdir(run->folder);
    free(run);
    return rc;
}

static void hear(void *user, const struct notice *n)
{
    struct run *run = user;
    const size_t at = strlen(run->heard);
    (void)snprintf(run->heard + at, sizeof run->heard - at, "%s ", n->code);
}

static int64_t script_now(void *user)
{
    return ((struct script *)user)->now_ns;
}

static int64_t script_wall(void *user)
{
    return INT64_C(1772663400) * NS_PER_S + ((struct script *)user)->now_ns - 1000 * NS_PER_S;
}

void run_options(struct run *run, struct recorder_opts *o, struct script *s)
{
    recorder_opts_defaults(o);
    o->path = run->path;
    o->plain = true;
    o->time = (struct recorder_time){script_now, script_wall, s};
    s->now_ns = 1000 * NS_PER_S;
}

static void read_log(struct run *run)
{
    run->logged[0] = '\0';
    FILE *f = fopen(run->path, "r");
    if (!f)
        return;
    size_t n = 0;
    char line[2048];
    while (fgets(line, sizeof line, f)) {
        if (line[0] == '%')
            continue;
        /* The host's times on time lines are looked at in a test of their own. */
        char *space = line[0] == '@' ? strchr(strchr(line, ' ') + 1, ' ') : NULL;
        if (space)
            memcpy(space, "\n", 2);
        n += (size_t)snprintf(run->logged + n, sizeof run->logged - n, "%s", line);
    }
    assert_int_equal(fclose(f), 0);
}

int run_script(struct run *run, const struct recorder_opts *o, struct script *s, enum recorder_end *why)
{
    struct recorder *r = NULL;
    struct port *port = NULL;
    struct port_opts po;
    struct err e;
    port_opts_defaults(&po);
    assert_int_equal(recorder_new(&r, o, &(struct notice_sink){hear, run}, &e), TM_OK);
    assert_int_equal(port_open(&port, script_ops(s), "script", &po, &e), TM_OK);
    const int rc = recorder_run(r, port, -1, NULL, NULL, why, &e);
    port_close(port);
    recorder_free(r);
    read_log(run);
    return rc;
}
