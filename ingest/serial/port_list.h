/* The serial ports that this computer has, as libserialport lists them. Nothing is opened: a device notices
 * nothing. Serial numbers of adapters are not asked for: they identify. */
#ifndef TIDEMARK_INGEST_PORT_LIST_H
#define TIDEMARK_INGEST_PORT_LIST_H

#include "ingest/notice.h"

#include <stddef.h>

struct port_entry {
    char name[256];        /* what `record` takes, e.g. "/dev/ttyUSB0" */
    char description[128]; /* as the system gives it; control characters become '?'; may be "" */
    const char *transport; /* "native", "usb", "bluetooth" or "unknown"; static storage */
};

/* On success *out holds *n entries in the order of their names and is the caller's (free); NULL for none. */
int port_list(struct port_entry **out, size_t *n, struct err *e) MUST_USE;

#endif
