/* The serial backend: libserialport opens and configures the port, then its descriptor is polled here (why:
 * wait_fd.c).
 *
 * DTR and RTS. Opening a serial device makes the kernel itself assert both lines, before any program can say
 * a word; the first thing done here is to take them away, but a short pulse has then been sent. Only a cable
 * without these wires keeps it from the device (docs/recording.md says so). */
#include "ingest/serial/port.h"
#include "ingest/serial/wait_fd.h"

#include <errno.h>
#include <libserialport.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct serial {
    struct sp_port *port;
    int fd;
    struct port_opts o;
    char path[];
};

static int refuse(struct err *e, const char *path, enum sp_return r, const char *what)
{
    const int number = r == SP_ERR_FAIL ? sp_last_error_code() : 0;
    const char *mend = "see that the port is a serial device ('tidemark ports')";
    if (number == EACCES || number == EPERM)
        mend = "on most systems membership of the group 'dialout' gives access to serial ports";
    else if (number == EBUSY || number == EWOULDBLOCK)
        mend = "another program has the port open";
    else if (number == ENOENT || number == ENODEV || number == ENXIO)
        mend = "'tidemark ports' lists the ports that are there";
    (void)err_set(e, TM_ERR_SYSTEM, path, 0, mend, "%s", what);
    if (e)
        e->sys_errno = number;
    return r == SP_ERR_MEM ? TM_ERR_MEMORY : TM_ERR_SYSTEM;
}

/* The control lines go first, the rest after. */
static enum sp_return configure(struct sp_port *port, const struct port_opts *o)
{
    static const enum sp_parity parity[] = {SP_PARITY_NONE, SP_PARITY_ODD, SP_PARITY_EVEN};
    enum sp_return r = sp_set_dtr(port, o->dtr ? SP_DTR_ON : SP_DTR_OFF);
    if (r == SP_OK)
        r = sp_set_rts(port, o->rts ? SP_RTS_ON : SP_RTS_OFF);
    struct sp_port_config *c = NULL;
    if (r == SP_OK)
        r = sp_new_config(&c);
    if (r != SP_OK)
        return r;
    if (r == SP_OK)
        r = sp_set_config_baudrate(c, o->baud);
    if (r == SP_OK)
        r = sp_set_config_bits(c, o->bits);
    if (r == SP_OK)
        r = sp_set_config_parity(c, parity[o->parity]);
    if (r == SP_OK)
        r = sp_set_config_stopbits(c, o->stop);
    /* This would also set the lines to what flow control needs, so they are named again after it. */
    if (r == SP_OK)
        r = sp_set_config_flowcontrol(c, SP_FLOWCONTROL_NONE);
    if (r == SP_OK)
        r = sp_set_config_dtr(c, o->dtr ? SP_DTR_ON : SP_DTR_OFF);
    if (r == SP_OK)
        r = sp_set_config_rts(c, o->rts ? SP_RTS_ON : SP_RTS_OFF);
    if (r == SP_OK)
        r = sp_set_config(port, c);
    sp_free_config(c);
    return r;
}

static int serial_open(void **self, const char *path, const struct port_opts *o, struct err *e)
{
    const size_t n = strlen(path);
    struct serial *s = calloc(1, sizeof *s + n + 1);
    if (!s)
        return err_set(e, TM_ERR_MEMORY, path, 0, NULL, "out of memory");
    memcpy(s->path, path, n + 1);
    s->o = *o;
    int rc = TM_OK;
    bool opened = false;
    enum sp_return r = sp_get_port_by_name(path, &s->port);
    if (r != SP_OK) {
        rc = refuse(e, path, r, "no such serial port");
        goto out;
    }
    r = sp_open(s->port, SP_MODE_READ);
    if (r != SP_OK) {
        rc = refuse(e, path, r, "the port can't be opened");
        goto out;
    }
    opened = true;
    r = configure(s->port, o);
    if (r != SP_OK) {
        rc = refuse(e, path, r, "the port does not take these settings");
        goto out;
    }
    r = sp_get_port_handle(s->port, &s->fd);
    if (r != SP_OK) {
        rc = refuse(e, path, r, "the port has no descriptor");
        goto out;
    }
    *self = s;
    return TM_OK;
out:
    if (opened)
        (void)sp_close(s->port);
    sp_free_port(s->port);
    free(s);
    return rc;
}

static enum port_rc serial_read(void *self, void *buf, size_t cap, size_t *got, int wait_ms, int wake_fd,
                                struct err *e)
{
    struct serial *s = self;
    return wait_fd_read(s->fd, PORT_GONE, s->path, buf, cap, got, wait_ms, wake_fd, e);
}

static void serial_describe(const void *self, char *text, size_t cap)
{
    const struct serial *s = self;
    (void)snprintf(text, cap, "%s at %d baud, %d%c%d, no flow control, DTR %s, RTS %s", s->path, s->o.baud,
                   s->o.bits, "NOE"[s->o.parity], s->o.stop, s->o.dtr ? "on" : "off", s->o.rts ? "on" : "off");
}

static void serial_close(void *self)
{
    struct serial *s = self;
    if (!s)
        return;
    (void)sp_close(s->port);
    sp_free_port(s->port);
    free(s);
}

const struct port_ops port_serial = {"serial", serial_open, serial_read, serial_describe, serial_close};
