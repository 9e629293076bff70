#include "ingest/serial/outfile.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct outfile {
    int fd;
    uint64_t good;
    bool torn;  /* bytes past `good` may stand in the file */
    char *wait;
    size_t n, cap;
    char *path;
};

static int system_err(struct err *e, const char *path, const char *mend, const char *what)
{
    const int number = errno;
    (void)err_set(e, TM_ERR_SYSTEM, path, 0, mend, "%s", what);
    if (e)
        e->sys_errno = number;
    return TM_ERR_SYSTEM;
}

/* A new name is lost by a power cut until its folder is on the disk too. */
static int sync_folder(const char *path)
{
    const char *slash = strrchr(path, '/');
    char *folder = slash ? strdup(path) : strdup(".");
    if (!folder)
        return -1;
    if (slash)
        folder[slash == path ? 1 : slash - path] = '\0';
    const int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    free(folder);
    if (fd < 0)
        return -1;
    int rc;
    while ((rc = fsync(fd)) != 0 && errno == EINTR)
        continue;
    /* Some file systems do not sync folders and say so with EINVAL: nothing more can be done there. */
    if (rc != 0 && errno == EINVAL)
        rc = 0;
    const int number = errno;
    (void)close(fd);
    errno = number;
    return rc;
}

int outfile_create(struct outfile **out, const char *path, struct err *e)
{
    struct outfile *f = calloc(1, sizeof *f);
    char *copy = strdup(path);
    if (!f || !copy) {
        free(f);
        free(copy);
        return err_set(e, TM_ERR_MEMORY, path, 0, NULL, "out of memory");
    }
    f->path = copy;
    /* Health data: for their owner's eyes, whatever the umask allows. */
    f->fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (f->fd < 0) {
        const int rc = system_err(e, path, errno == EEXIST ? "choose another name: a recording is never overwritten"
                                                           : NULL, "the recording can't be created");
        free(copy);
        free(f);
        return rc;
    }
    if (sync_folder(path) != 0) {
        const int rc = system_err(e, path, NULL, "the folder can't be made durable");
        (void)close(f->fd);
        (void)unlink(path);
        free(copy);
        free(f);
        return rc;
    }
    *out = f;
    return TM_OK;
}

int outfile_add(struct outfile *f, const void *data, size_t n)
{
    if (n > OUTFILE_WAITING_MAX - f->n)
        return TM_ERR_MEMORY;
    if (f->n + n > f->cap) {
        size_t cap = f->cap ? f->cap : 64u << 10;
        while (cap < f->n + n)
            cap *= 2;
        char *grown = realloc(f->wait, cap);
        if (!grown)
            return TM_ERR_MEMORY;
        f->wait = grown;
        f->cap = cap;
    }
    if (n > 0)
        memcpy(f->wait + f->n, data, n);
    f->n += n;
    return TM_OK;
}

/* All bytes at the good length, or -1 with errno. */
static int write_whole(struct outfile *f)
{
    size_t done = 0;
    while (done < f->n) {
        const ssize_t w = pwrite(f->fd, f->wait + done, f->n - done, (off_t)(f->good + done));
        if (w < 0 && errno == EINTR)
            continue;
        if (w <= 0) {
            if (w == 0)
                errno = ENOSPC;
            return -1;
        }
        f->torn = true;
        done += (size_t)w;
    }
    return 0;
}

static void cut_back(struct outfile *f)
{
    const int number = errno;
    int rc;
    while ((rc = ftruncate(f->fd, (off_t)f->good)) != 0 && errno == EINTR)
        continue;
    if (rc == 0)
        f->torn = false; /* else the next piece overwrites it: pwrite starts at the good length */
    errno = number;
}

int outfile_commit(struct outfile *f, struct err *e)
{
    if (f->n == 0)
        return TM_OK;
    if (write_whole(f) != 0) {
        if (f->torn)
            cut_back(f);
        return system_err(e, f->path, "free some space: the samples are kept in memory and tried again",
                          "writing the recording failed");
    }
    int rc;
    while ((rc = fdatasync(f->fd)) != 0 && errno == EINTR)
        continue;
    /* The bytes wait on and are written anew: after a failed sync the system may take the lost pages for
     * clean, and a second sync alone would then succeed without them. */
    if (rc != 0)
        return system_err(e, f->path, NULL, "the disk does not confirm what was written");
    f->good += f->n;
    f->n = 0;
    f->torn = false;
    return TM_OK;
}

uint64_t outfile_good(const struct outfile *f)
{
    return f->good;
}

size_t outfile_waiting(const struct outfile *f)
{
    return f->n;
}

void outfile_discard(struct outfile *f)
{
    (void)unlink(f->path);
    struct err ignored;
    (void)!outfile_close(f, &ignored);
}

int outfile_close(struct outfile *f, struct err *e)
{
    if (!f)
        return TM_OK;
    int rc = TM_OK;
    if (close(f->fd) != 0 && errno != EINTR) /* after EINTR the descriptor is closed on Linux */
        rc = system_err(e, f->path, NULL, "closing the recording failed");
    free(f->wait);
    free(f->path);
    free(f);
    return rc;
}
