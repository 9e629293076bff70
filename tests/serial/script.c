#include "tests/serial/script.h"

#include <stdio.h>
#include <string.h>

static struct script *current;

static int script_open(void **self, const char *path, const struct port_opts *o, struct err *e)
{
    (void)path;
    (void)o;
    (void)e;
    if (current->on_open)
        current->on_open(current->user);
    current->opened++;
    *self = current;
    return TM_OK;
}

static size_t step_bytes(struct script *s, const struct step *step, void *buf, size_t cap)
{
    const size_t all = step->kind == STEP_BYTES && step->n ? step->n : strlen(step->text);
    size_t n = all - s->done;
    if (n > cap)
        n = cap;
    if (step->kind == STEP_SHORT && n > step->n)
        n = step->n;
    memcpy(buf, step->text + s->done, n);
    s->done += n;
    if (s->done == all) {
        s->done = 0;
        s->waited_ms = 0;
        s->at++;
    }
    return n;
}

static enum port_rc script_read(void *self, void *buf, size_t cap, size_t *got, int wait_ms, int wake_fd,
                                struct err *e)
{
    (void)wake_fd;
    struct script *s = self;
    const struct step *step = &s->steps[s->at];
    int left = step->ms - s->waited_ms;
    if (step->kind <= STEP_QUIET && left > 0) {
        const int waited = left < wait_ms ? left : wait_ms;
        s->waited_ms += waited;
        s->now_ns += (int64_t)waited * 1000000;
        left -= waited;
        if (left > 0)
            return PORT_QUIET;
    }
    switch (step->kind) {
    case STEP_BYTES:
    case STEP_SHORT:
        *got = step_bytes(s, step, buf, cap);
        return PORT_DATA;
    case STEP_QUIET:
        s->at++;
        s->waited_ms = 0;
        return PORT_QUIET;
    case STEP_WAKE:
        return PORT_WOKEN;
    case STEP_GONE:
        return PORT_GONE;
    case STEP_END:
        return PORT_END;
    case STEP_ERR:
        break;
    }
    (void)err_set(e, TM_ERR_SYSTEM, "script", 0, NULL, "reading failed");
    return PORT_ERR;
}

static void script_describe(const void *self, char *text, size_t cap)
{
    (void)self;
    (void)snprintf(text, cap, "script");
}

static void script_close(void *self)
{
    struct script *s = self;
    if (s)
        s->closed++;
}

const struct port_ops *script_ops(struct script *s)
{
    static const struct port_ops ops = {"script", script_open, script_read, script_describe, script_close};
    current = s;
    return &ops;
}
