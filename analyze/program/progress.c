#include "analyze/program/progress.h"

#include <stdio.h>
#include <time.h>
#include <unistd.h>

static long long now_ms(void)
{
    struct timespec t;
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

void progress_begin(struct progress *p)
{
    *p = (struct progress){.on = isatty(STDERR_FILENO) == 1};
    if (p->on)
        p->next_ms = now_ms() + 1000;
}

void progress_tick(struct progress *p, const struct item *it)
{
    if (!p->on || it->kind != ITEM_SAMPLES || it->samples->n == 0 || ++p->ticks % 32 != 0)
        return;
    const long long now = now_ms();
    if (now < p->next_ms)
        return;
    p->next_ms = now + 250;
    p->drawn = true;
    const long long s = (long long)(it->samples->t_ns[0] / NS_PER_S);
    (void)fprintf(stderr, "\r%lld h %02lld min read ", s / 3600, s / 60 % 60);
    (void)fflush(stderr);
}

void progress_clear(struct progress *p)
{
    if (p->drawn)
        (void)fputs("\r                          \r", stderr);
    p->drawn = false;
}
