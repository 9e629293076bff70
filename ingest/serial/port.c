#include "ingest/serial/port.h"

#include <libserialport.h>
#include <stdlib.h>
#include <string.h>

struct port {
    const struct port_ops *ops;
    void *self;
};

void port_opts_defaults(struct port_opts *o)
{
    memset(o, 0, sizeof *o);
    o->baud = 115200;
    o->bits = 8;
    o->stop = 1;
}

const struct port_ops *port_backend_for(const char *path)
{
    struct sp_port *known = NULL;
    if (strcmp(path, "-") == 0 || sp_get_port_by_name(path, &known) != SP_OK)
        return &port_descriptor;
    sp_free_port(known);
    return &port_serial;
}

int port_open(struct port **out, const struct port_ops *ops, const char *path, const struct port_opts *o,
              struct err *e)
{
    struct port *p = calloc(1, sizeof *p);
    if (!p)
        return err_set(e, TM_ERR_MEMORY, path, 0, NULL, "out of memory");
    p->ops = ops;
    const int rc = ops->open(&p->self, path, o, e);
    if (rc != TM_OK) {
        free(p);
        return rc;
    }
    *out = p;
    return TM_OK;
}

enum port_rc port_read(struct port *p, void *buf, size_t cap, size_t *got, int wait_ms, int wake_fd,
                       struct err *e)
{
    return p->ops->read(p->self, buf, cap, got, wait_ms, wake_fd, e);
}

void port_describe(const struct port *p, char *text, size_t cap)
{
    p->ops->describe(p->self, text, cap);
}

void port_close(struct port *p)
{
    if (!p)
        return;
    p->ops->close(p->self);
    free(p);
}
