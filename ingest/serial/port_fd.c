/* The descriptor backend: standard input, a file, a FIFO, a pseudo-terminal. */
#include "ingest/serial/port.h"
#include "ingest/serial/wait_fd.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

struct fd_port {
    int fd;
    bool ours; /* opened here, so closed here */
    bool tty;
    char path[];
};

/* A terminal would edit lines, echo them back and turn control bytes into signals. */
static int make_raw(int fd)
{
    struct termios t;
    if (tcgetattr(fd, &t) != 0)
        return -1;
    t.c_iflag &= ~(tcflag_t)(IGNBRK | BRKINT | PARMRK | ISTRIP | INLCR | IGNCR | ICRNL | IXON | IXOFF);
    t.c_oflag &= ~(tcflag_t)OPOST;
    t.c_lflag &= ~(tcflag_t)(ECHO | ECHONL | ICANON | ISIG | IEXTEN);
    t.c_cflag &= ~(tcflag_t)(CSIZE | PARENB);
    t.c_cflag |= CS8 | CREAD | CLOCAL;
    t.c_cc[VMIN] = 1;
    t.c_cc[VTIME] = 0;
    return tcsetattr(fd, TCSANOW, &t);
}

static int refuse(struct err *e, const char *path, const char *mend, const char *what)
{
    const int number = errno;
    (void)err_set(e, TM_ERR_SYSTEM, path, 0, mend, "%s", what);
    if (e)
        e->sys_errno = number;
    return TM_ERR_SYSTEM;
}

static int fd_open(void **self, const char *path, const struct port_opts *o, struct err *e)
{
    (void)o; /* a descriptor has no speed or lines */
    const size_t n = strlen(path);
    struct fd_port *p = calloc(1, sizeof *p + n + 1);
    if (!p)
        return err_set(e, TM_ERR_MEMORY, path, 0, NULL, "out of memory");
    memcpy(p->path, path, n + 1);
    p->ours = strcmp(path, "-") != 0;
    /* Without O_NONBLOCK the opening of a FIFO would wait for its writer, deaf to an interrupt. */
    p->fd = p->ours ? open(path, O_RDONLY | O_NOCTTY | O_NONBLOCK | O_CLOEXEC) : STDIN_FILENO;
    if (p->fd < 0) {
        const int rc = refuse(e, path, errno == ENOENT ? "'tidemark ports' lists the ports that are there" : NULL,
                              "the port can't be opened");
        free(p);
        return rc;
    }
    p->tty = isatty(p->fd) == 1;
    /* Somebody's own terminal on standard input stays as it is. */
    if (p->tty && p->ours && make_raw(p->fd) != 0) {
        const int rc = refuse(e, path, NULL, "the terminal can't be set up");
        (void)close(p->fd);
        free(p);
        return rc;
    }
    *self = p;
    return TM_OK;
}

static enum port_rc fd_read(void *self, void *buf, size_t cap, size_t *got, int wait_ms, int wake_fd,
                            struct err *e)
{
    struct fd_port *p = self;
    return wait_fd_read(p->fd, p->tty && p->ours ? PORT_GONE : PORT_END, p->path, buf, cap, got, wait_ms,
                        wake_fd, e);
}

static void fd_describe(const void *self, char *text, size_t cap)
{
    const struct fd_port *p = self;
    (void)snprintf(text, cap, "%s", p->ours ? p->path : "standard input");
}

static void fd_close(void *self)
{
    struct fd_port *p = self;
    if (!p)
        return;
    if (p->ours)
        (void)close(p->fd);
    free(p);
}

const struct port_ops port_descriptor = {"descriptor", fd_open, fd_read, fd_describe, fd_close};
