/* poll() tells apart what a blocking read folds into one zero: silence, an end, a pulled cable.
 *
 * libserialport's own reads do not: after an unplug they return 0 and spin until their timeout, and they
 * swallow EINTR, so that an interrupt could not end them. */
#include "ingest/serial/wait_fd.h"

#include <errno.h>
#include <poll.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static long long now_ms(void)
{
    struct timespec t;
    (void)clock_gettime(CLOCK_MONOTONIC, &t);
    return (long long)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static enum port_rc failed(const char *path, int number, struct err *e)
{
    (void)err_set(e, TM_ERR_SYSTEM, path, 0, NULL, "reading failed");
    if (e)
        e->sys_errno = number;
    return PORT_ERR;
}

/* A device that vanished shows as one of these, depending on its driver. */
static bool means_gone(int number)
{
    return number == EIO || number == ENXIO || number == ENODEV;
}

enum port_rc wait_fd_read(int fd, enum port_rc hangup, const char *path, void *buf, size_t cap, size_t *got,
                          int wait_ms, int wake_fd, struct err *e)
{
    const long long until = now_ms() + wait_ms;
    for (;;) {
        const long long left = until - now_ms();
        struct pollfd p[2] = {{.fd = fd, .events = POLLIN}, {.fd = wake_fd, .events = POLLIN}};
        const int n = poll(p, 2, left > 0 ? (int)left : 0); /* a negative descriptor is skipped */
        if (n < 0 && errno != EINTR)
            return failed(path, errno, e);
        if (n <= 0) {
            if (left <= 0)
                return PORT_QUIET;
            continue;
        }
        if (p[1].revents)
            return PORT_WOKEN;
        if (p[0].revents & POLLNVAL)
            return failed(path, EBADF, e);
        /* Also on a hang-up: what arrived before it may still be there. */
        const ssize_t r = read(fd, buf, cap);
        if (r > 0) {
            *got = (size_t)r;
            return PORT_DATA;
        }
        if (r == 0 && (hangup == PORT_END || (p[0].revents & (POLLHUP | POLLERR))))
            return hangup;
        /* A serial port set to VMIN 0 also gives 0 where another reader was quicker: that is silence. */
        if (r == 0 && left <= 0)
            return PORT_QUIET;
        if (r == 0)
            continue;
        if (hangup == PORT_GONE && means_gone(errno))
            return PORT_GONE;
        if (errno != EINTR && errno != EAGAIN)
            return failed(path, errno, e);
        if (p[0].revents & POLLHUP)
            return hangup;
    }
}
