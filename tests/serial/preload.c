/* Test only, loaded before the C library: lets libserialport take a pseudo-terminal for a serial port.
 *
 * libserialport wants an entry /sys/class/tty/NAME and asks for the modem lines with TIOCMGET; a
 * pseudo-terminal has neither. Here lstat and readlink answer for /sys/class/tty/pts/..., and the modem-line
 * requests succeed. Each request that would set or clear a line, each opening of a pseudo-terminal and each
 * write to a terminal is noted, one a line, in the file that TIDEMARK_TEST_LINES names, so that a test can see
 * what was told before the port was opened, that DTR and RTS were taken away, and that nothing was sent.
 * Everything else goes to the C library untouched. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

int lstat(const char *path, struct stat *st);
int __lxstat(int version, const char *path, struct stat *st);
ssize_t readlink(const char *path, char *buf, size_t n);
int ioctl(int fd, unsigned long request, ...);
ssize_t write(int fd, const void *buf, size_t n);
int open(const char *path, int flags, ...);
int __open_2(const char *path, int flags);

static const char FAKE[] = "/sys/class/tty/pts/";

static int is_fake(const char *path)
{
    return path && strncmp(path, FAKE, sizeof FAKE - 1) == 0;
}

static void note(const char *text)
{
    const char *name = getenv("TIDEMARK_TEST_LINES");
    int (*real_open)(const char *, int, ...);
    *(void **)&real_open = dlsym(RTLD_NEXT, "open");
    const int fd = name ? real_open(name, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600) : -1;
    if (fd < 0)
        return;
    ssize_t (*real)(int, const void *, size_t);
    *(void **)&real = dlsym(RTLD_NEXT, "write");
    (void)!real(fd, text, strlen(text));
    (void)close(fd);
}

/* Opening a terminal is noted too, so that a test can see what was told before it. */
static int note_open(const char *function, const char *path, int flags, mode_t mode)
{
    if (strncmp(path, "/dev/pts/", 9) == 0)
        note("open\n");
    int (*real)(const char *, int, ...);
    *(void **)&real = dlsym(RTLD_NEXT, function);
    return real(path, flags, mode);
}

int open(const char *path, int flags, ...)
{
    va_list ap;
    va_start(ap, flags);
    const mode_t mode = flags & O_CREAT ? va_arg(ap, mode_t) : 0;
    va_end(ap);
    return note_open("open", path, flags, mode);
}

/* What open becomes in a library that was built with fortification. */
int __open_2(const char *path, int flags)
{
    return note_open("open", path, flags, 0);
}

int lstat(const char *path, struct stat *st)
{
    if (is_fake(path)) {
        memset(st, 0, sizeof *st);
        st->st_mode = S_IFLNK | 0777;
        return 0;
    }
    int (*real)(const char *, struct stat *);
    *(void **)&real = dlsym(RTLD_NEXT, "lstat");
    return real(path, st);
}

/* What lstat was called before glibc 2.33; a library built against an older header still asks for it. */
int __lxstat(int version, const char *path, struct stat *st)
{
    if (is_fake(path))
        return lstat(path, st);
    int (*real)(int, const char *, struct stat *);
    *(void **)&real = dlsym(RTLD_NEXT, "__lxstat");
    return real(version, path, st);
}

ssize_t readlink(const char *path, char *buf, size_t n)
{
    static const char target[] = "../../devices/platform/fake/tty/pts";
    if (is_fake(path)) {
        const size_t len = sizeof target - 1 < n ? sizeof target - 1 : n;
        memcpy(buf, target, len);
        return (ssize_t)len;
    }
    ssize_t (*real)(const char *, char *, size_t);
    *(void **)&real = dlsym(RTLD_NEXT, "readlink");
    return real(path, buf, n);
}

/* The lines as they stand; at first as the kernel's own opening leaves them. */
static int modem_lines = TIOCM_DTR | TIOCM_RTS;

int ioctl(int fd, unsigned long request, ...)
{
    va_list ap;
    va_start(ap, request);
    void *arg = va_arg(ap, void *);
    va_end(ap);
    if (request == TIOCMGET) {
        *(int *)arg = modem_lines;
        return 0;
    }
    if (request == TIOCMBIS || request == TIOCMBIC) {
        char text[64];
        const int bits = *(int *)arg;
        modem_lines = request == TIOCMBIS ? modem_lines | bits : modem_lines & ~bits;
        (void)snprintf(text, sizeof text, "%s%s%s\n", request == TIOCMBIS ? "set" : "clear",
                       bits & TIOCM_DTR ? " dtr" : "", bits & TIOCM_RTS ? " rts" : "");
        note(text);
        return 0;
    }
    int (*real)(int, unsigned long, ...);
    *(void **)&real = dlsym(RTLD_NEXT, "ioctl");
    return real(fd, request, arg);
}

ssize_t write(int fd, const void *buf, size_t n)
{
    ssize_t (*real)(int, const void *, size_t);
    *(void **)&real = dlsym(RTLD_NEXT, "write");
    if (fd > 2 && isatty(fd))
        note("write to a terminal\n");
    return real(fd, buf, n);
}
