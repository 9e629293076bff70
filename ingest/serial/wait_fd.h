/* Waiting for bytes on a descriptor beside a wake-up descriptor; shared by the backends. */
#ifndef TIDEMARK_INGEST_WAIT_FD_H
#define TIDEMARK_INGEST_WAIT_FD_H

#include "ingest/serial/port.h"

/* hangup: what it means that the other side is gone (PORT_GONE for a terminal, PORT_END for a pipe).
 * path is for messages. */
enum port_rc wait_fd_read(int fd, enum port_rc hangup, const char *path, void *buf, size_t cap, size_t *got,
                          int wait_ms, int wake_fd, struct err *e) MUST_USE;

#endif
