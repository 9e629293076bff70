#include "analyze/program/folder.h"

#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FILES_MAX 8
#define PATH_BYTES 4096
#define NAME_BYTES (PATH_BYTES + 64)

struct part_file {
    struct folder *dir;
    const char *name;
    int fd; /* -1: closed */
    struct sha256_ctx sha;
    uint64_t bytes;
    bool part; /* NAME.part is there */
};

struct folder {
    char path[PATH_BYTES];
    bool created;
    int n;
    struct part_file file[FILES_MAX];
    struct err why; /* of the first failure */
};

static void path_of(const struct folder *d, const char *name, const char *suffix, char out[NAME_BYTES])
{
    (void)snprintf(out, NAME_BYTES, "%s/%s%s", d->path, name, suffix);
}

static int fail(struct folder *d, const char *path, const char *what)
{
    const int no = errno;
    if (!d->why.what[0]) {
        (void)err_set(&d->why, TM_ERR_SYSTEM, path, 0, no == ENOSPC ? "free some space, or choose another folder" : "", "%s",
                      what);
        d->why.sys_errno = no;
    }
    return TM_ERR_SYSTEM;
}

/* The folder itself: there, or made. */
static int make(struct folder *d, struct err *e)
{
    struct stat st;
    if (mkdir(d->path, 0777) == 0) {
        d->created = true;
        return TM_OK;
    }
    const int no = errno;
    if (no != EEXIST) {
        (void)err_set(e, TM_ERR_SYSTEM, d->path, 0,
                      no == ENOENT ? "create the folder above it first" : "choose a folder that can be written",
                      "the folder can't be created");
        e->sys_errno = no;
        return TM_ERR_SYSTEM;
    }
    if (stat(d->path, &st) != 0 || !S_ISDIR(st.st_mode))
        return err_set(e, TM_ERR_SYSTEM, d->path, 0, "choose another name after -o", "this is a file, not a folder");
    return TM_OK;
}

int folder_open(struct folder **out, const char *path, const char *const *names, bool force, struct err *e)
{
    if (strlen(path) >= PATH_BYTES - 1 || !path[0])
        return err_set(e, TM_ERR_USAGE, path, 0, "", "no folder can have this name");
    struct folder *d = calloc(1, sizeof *d);
    if (!d)
        return err_set(e, TM_ERR_MEMORY, path, 0, "", "out of memory");
    memcpy(d->path, path, strlen(path) + 1);
    int rc = make(d, e);
    for (; rc == TM_OK && *names && !force; names++) {
        char name[NAME_BYTES];
        struct stat st;
        path_of(d, *names, "", name);
        if (lstat(name, &st) == 0)
            rc = err_set(e, TM_ERR_SYSTEM, path, 0, "another folder, or --force to replace them",
                         "the folder holds tables already");
    }
    if (rc != TM_OK) {
        free(d);
        return rc;
    }
    *out = d;
    return TM_OK;
}

int folder_file(struct folder *d, const char *name, struct part_file **out, struct err *e)
{
    if (d->n == FILES_MAX)
        return err_set(e, TM_ERR_USAGE, name, 0, "", "too many files");
    struct part_file *f = &d->file[d->n];
    char path[NAME_BYTES];
    path_of(d, name, ".part", path);
    f->fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (f->fd < 0) {
        (void)fail(d, path, "can't be written");
        folder_why(d, e);
        return TM_ERR_SYSTEM;
    }
    f->dir = d;
    f->name = name;
    f->part = true;
    f->bytes = 0;
    sha256_init(&f->sha);
    d->n++;
    *out = f;
    return TM_OK;
}

int part_write(void *part_file, const void *data, size_t n)
{
    struct part_file *f = part_file;
    const uint8_t *p = data;
    sha256_update(&f->sha, n, p);
    f->bytes += n;
    while (n > 0) {
        const ssize_t k = write(f->fd, p, n);
        if (k < 0 && errno == EINTR)
            continue;
        if (k <= 0) {
            char path[NAME_BYTES];
            path_of(f->dir, f->name, ".part", path);
            return fail(f->dir, path, "can't be written");
        }
        p += k;
        n -= (size_t)k;
    }
    return TM_OK;
}

int part_close(struct part_file *f)
{
    if (f->fd < 0)
        return TM_OK;
    const int rc = close(f->fd);
    f->fd = -1;
    if (rc == 0 || errno == EINTR)
        return TM_OK;
    return fail(f->dir, f->name, "can't be written");
}

void part_sha256(const struct part_file *f, char hex[65])
{
    static const char digit[] = "0123456789abcdef";
    struct sha256_ctx copy = f->sha;
    uint8_t sum[SHA256_DIGEST_SIZE];
    sha256_digest(&copy, sizeof sum, sum);
    for (size_t i = 0; i < sizeof sum; i++) {
        hex[2 * i] = digit[sum[i] >> 4];
        hex[2 * i + 1] = digit[sum[i] & 15];
    }
    hex[64] = '\0';
}

uint64_t part_bytes(const struct part_file *f)
{
    return f->bytes;
}

const char *part_name(const struct part_file *f)
{
    return f->name;
}

void folder_why(const struct folder *d, struct err *e)
{
    *e = d->why;
}

int folder_commit(struct folder *d)
{
    if (d->why.what[0])
        return TM_ERR_SYSTEM;
    for (int i = 0; i < d->n; i++)
        if (part_close(&d->file[i]) != TM_OK)
            return TM_ERR_SYSTEM;
    char part[NAME_BYTES], name[NAME_BYTES];
    if (d->n > 0) {
        path_of(d, d->file[d->n - 1].name, "", name);
        if (unlink(name) != 0 && errno != ENOENT)
            return fail(d, name, "can't be replaced");
    }
    for (int i = 0; i < d->n; i++) {
        path_of(d, d->file[i].name, ".part", part);
        path_of(d, d->file[i].name, "", name);
        if (rename(part, name) != 0)
            return fail(d, name, "can't be given its name");
        d->file[i].part = false;
    }
    d->created = false;
    return TM_OK;
}

void folder_close(struct folder *d)
{
    if (!d)
        return;
    for (int i = 0; i < d->n; i++) {
        char part[NAME_BYTES];
        if (d->file[i].fd >= 0)
            (void)close(d->file[i].fd);
        path_of(d, d->file[i].name, ".part", part);
        if (d->file[i].part)
            (void)unlink(part);
    }
    if (d->created)
        (void)rmdir(d->path);
    free(d);
}
