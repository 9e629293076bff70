#include "ingest/bytes/raw.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int system_error(struct err *e, const char *path, const char *what, int no)
{
    (void)err_set(e, TM_ERR_SYSTEM, path, 0, "", "%s", what);
    if (e)
        e->sys_errno = no;
    return TM_ERR_SYSTEM;
}

int raw_open(struct raw *r, const char *path, struct err *e)
{
    memset(r, 0, sizeof *r);
    sha256_init(&r->sha);
    r->fd = STDIN_FILENO;
    r->own_fd = strcmp(path, "-") != 0;
    if (r->own_fd) {
        do
            r->fd = open(path, O_RDONLY | O_CLOEXEC);
        while (r->fd < 0 && errno == EINTR);
        if (r->fd < 0)
            return system_error(e, path, "cannot be opened", errno);
    }
    return TM_OK;
}

int raw_seek(struct raw *r, uint64_t offset, const char *path, struct err *e)
{
    if (offset > INT64_MAX || lseek(r->fd, (off_t)offset, SEEK_SET) < 0)
        return system_error(e, path, "cannot be positioned", offset > INT64_MAX ? EINVAL : errno);
    r->offset = offset;
    return TM_OK;
}

void raw_close(struct raw *r)
{
    if (r->own_fd && r->fd >= 0)
        (void)close(r->fd);
    r->fd = -1;
    free(r->data);
    r->data = NULL;
}

void raw_drop(struct raw *r, size_t n)
{
    r->head += n;
    r->offset += n;
}

/* Makes room for n more bytes behind fill. */
static int make_room(struct raw *r, size_t n, const char *path, struct err *e)
{
    if (r->cap - r->fill >= n)
        return TM_OK;
    size_t avail = raw_avail(r);
    if (r->head > 0) {
        if (avail > 0)
            memmove(r->data, r->data + r->head, avail);
        r->head = 0;
        r->fill = avail;
    }
    if (r->cap - r->fill >= n)
        return TM_OK;
    size_t cap = r->cap ? r->cap : 2 * (size_t)RAW_STEP;
    while (cap < avail + n)
        cap *= 2;
    uint8_t *data = realloc(r->data, cap);
    if (!data)
        return err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    r->data = data;
    r->cap = cap;
    return TM_OK;
}

static int read_once(struct raw *r, size_t n, const char *path, struct err *e)
{
    ssize_t got;
    for (;;) {
        got = read(r->fd, r->data + r->fill, n);
        if (got >= 0 || (errno != EINTR && errno != EAGAIN))
            break;
        /* Standard input may have been left non-blocking by whoever had it before. */
        struct pollfd pfd = {.fd = r->fd, .events = POLLIN};
        if (errno == EAGAIN)
            (void)poll(&pfd, 1, -1);
    }
    if (got < 0)
        return system_error(e, path, "cannot be read", errno);
    if (got == 0) {
        r->eof = true;
        return TM_OK;
    }
    sha256_update(&r->sha, (size_t)got, r->data + r->fill);
    r->fill += (size_t)got;
    return TM_OK;
}

int raw_want(struct raw *r, size_t want, const char *path, struct err *e)
{
    size_t target = raw_avail(r);
    if (target >= want || r->eof)
        return TM_OK;
    while (target < want)
        target += RAW_STEP;
    int rc = make_room(r, target - raw_avail(r), path, e);
    while (rc == TM_OK && !r->eof && raw_avail(r) < target)
        rc = read_once(r, target - raw_avail(r), path, e);
    return rc;
}

int raw_some(struct raw *r, const char *path, struct err *e)
{
    if (r->eof)
        return TM_OK;
    int rc = make_room(r, RAW_STEP, path, e);
    return rc == TM_OK ? read_once(r, RAW_STEP, path, e) : rc;
}
