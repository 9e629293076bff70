/* The seam to whatever sends lines: a serial port, a file descriptor, a script in a test. Above it nobody
 * knows which. A new kind of source (a network socket, a port that reconnects) is one more struct port_ops.
 *
 * Reading only: there is no call that could send a byte, and no backend opens its device for writing unless
 * the library that opens it leaves no choice. */
#ifndef TIDEMARK_INGEST_PORT_H
#define TIDEMARK_INGEST_PORT_H

#include "ingest/notice.h"

#include <stdbool.h>
#include <stddef.h>

/* What a read can end in; each asks something else of the caller. */
enum port_rc {
    PORT_DATA,  /* *got bytes, at least one */
    PORT_QUIET, /* nothing within the wait; the port is still there */
    PORT_WOKEN, /* the wake-up descriptor became readable: look why */
    PORT_END,   /* a file, a pipe or standard input ended */
    PORT_GONE,  /* the cable was pulled or the device vanished */
    PORT_ERR    /* err says why */
};

enum port_parity { PORT_PARITY_NONE, PORT_PARITY_ODD, PORT_PARITY_EVEN };

/* Flow control is always none: a listening-only cable has no lines for it. */
struct port_opts {
    int baud;                /* bits per second */
    int bits;                /* 5..8 */
    int stop;                /* 1 or 2 */
    enum port_parity parity;
    bool dtr, rts;           /* assert the line; false: take it away as soon as the port is open */
};

/* 115200 8N1, neither line asserted (115200: common practice, no source). */
void port_opts_defaults(struct port_opts *o);

/* A backend. `self` is its own; open leaves *self untouched on failure. */
struct port_ops {
    const char *name; /* "serial", "descriptor", "script" */
    int (*open)(void **self, const char *path, const struct port_opts *o, struct err *e);
    /* Waits at most wait_ms (0: looks only). wake_fd may be -1. A signal never ends the wait: whoever wants
     * that writes a byte to the other end of wake_fd. */
    enum port_rc (*read)(void *self, void *buf, size_t cap, size_t *got, int wait_ms, int wake_fd, struct err *e);
    void (*describe)(const void *self, char *text, size_t cap); /* one line, ASCII */
    void (*close)(void *self);                                  /* NULL is legal */
};

extern const struct port_ops port_serial;     /* through libserialport */
extern const struct port_ops port_descriptor; /* a file, a FIFO, "-" (standard input), a pseudo-terminal */

/* The backend for a name, without opening it: what libserialport knows as a port is "serial". */
const struct port_ops *port_backend_for(const char *path);

struct port;

/* On success *out is the caller's (port_close). path is copied. */
int port_open(struct port **out, const struct port_ops *ops, const char *path, const struct port_opts *o,
              struct err *e) MUST_USE;

/* *got is set with PORT_DATA only. */
enum port_rc port_read(struct port *p, void *buf, size_t cap, size_t *got, int wait_ms, int wake_fd,
                       struct err *e) MUST_USE;

void port_describe(const struct port *p, char *text, size_t cap);
void port_close(struct port *p); /* NULL is legal */

#endif
