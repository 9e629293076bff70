#include "analyze/program/one_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define PATH_BYTES 4096
#define BUFFER     65536

struct one_file {
    char path[PATH_BYTES], part[PATH_BYTES + 8];
    int fd;
    bool committed;
    struct err why; /* of the first failure */
    size_t n;
    char buf[BUFFER];
};

static int fail(struct one_file *f, const char *what)
{
    const int no = errno;
    if (!f->why.what[0]) {
        (void)err_set(&f->why, TM_ERR_SYSTEM, f->path, 0, "", "%s", what);
        f->why.sys_errno = no;
    }
    return TM_ERR_SYSTEM;
}

int one_file_open(struct one_file **out, const char *path, bool force, struct err *e)
{
    struct stat st;
    if (!path[0] || strlen(path) >= PATH_BYTES)
        return err_set(e, TM_ERR_SYSTEM, path, 0, "", "no file can have this name");
    if (!force && lstat(path, &st) == 0)
        return err_set(e, TM_ERR_SYSTEM, path, 0, "another name, or --force to replace it", "the file is there already");
    struct one_file *f = calloc(1, sizeof *f);
    if (!f)
        return err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    memcpy(f->path, path, strlen(path) + 1);
    (void)snprintf(f->part, sizeof f->part, "%s.part", path);
    f->fd = open(f->part, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (f->fd < 0) {
        (void)fail(f, "can't be written");
        *e = f->why;
        free(f);
        return TM_ERR_SYSTEM;
    }
    *out = f;
    return TM_OK;
}

static int drain(struct one_file *f)
{
    const char *p = f->buf;
    while (f->n > 0) {
        const ssize_t k = write(f->fd, p, f->n);
        if (k < 0 && errno == EINTR)
            continue;
        if (k <= 0)
            return fail(f, "can't be written");
        p += k;
        f->n -= (size_t)k;
    }
    return TM_OK;
}

int one_file_write(void *one_file, const void *data, size_t n)
{
    struct one_file *f = one_file;
    const char *p = data;
    while (n > 0) {
        if (f->why.what[0])
            return TM_ERR_SYSTEM;
        const size_t room = BUFFER - f->n, k = n < room ? n : room;
        memcpy(f->buf + f->n, p, k);
        f->n += k;
        p += k;
        n -= k;
        if (f->n == BUFFER && drain(f) != TM_OK)
            return TM_ERR_SYSTEM;
    }
    return TM_OK;
}

bool one_file_failed(const struct one_file *f, struct err *e)
{
    *e = f->why;
    return f->why.what[0] != '\0';
}

int one_file_commit(struct one_file *f, struct err *e)
{
    if (!f->why.what[0] && drain(f) == TM_OK && fsync(f->fd) != 0 && errno != EINVAL)
        (void)fail(f, "can't be written");
    if (close(f->fd) != 0 && errno != EINTR)
        (void)fail(f, "can't be written");
    f->fd = -1;
    if (!f->why.what[0] && rename(f->part, f->path) != 0)
        (void)fail(f, "can't be given its name");
    if (one_file_failed(f, e))
        return TM_ERR_SYSTEM;
    f->committed = true;
    return TM_OK;
}

void one_file_close(struct one_file *f)
{
    if (!f)
        return;
    if (f->fd >= 0)
        (void)close(f->fd);
    if (!f->committed)
        (void)unlink(f->part);
    free(f);
}
