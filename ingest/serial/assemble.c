#include "ingest/serial/assemble.h"

#include <string.h>

void assemble_init(struct assemble *a)
{
    memset(a, 0, sizeof *a);
}

static enum wire_state check(const char *text, size_t *n)
{
    switch (line_strip_crc(text, n)) {
    case LINE_CRC_GOOD:
        return WIRE_CHECKED;
    case LINE_CRC_BAD:
        return WIRE_BAD_CRC;
    case LINE_CRC_NONE:
        break;
    }
    return *n > LINE_MAX_BYTES ? WIRE_LONG : WIRE_PLAIN;
}

static void end_line(struct assemble *a, wire_line_fn *on_line, void *user)
{
    a->number++;
    struct wire_line line = {.text = a->buf, .number = a->number, .offset = a->offset, .length = a->length,
                             .first = a->number == 1};
    if (a->n > 0 && a->n == a->length && a->buf[a->n - 1] == '\r')
        a->n--;
    a->buf[a->n] = '\0';
    line.n = a->n;
    if (a->length > WIRE_LINE_MAX)
        line.state = WIRE_LONG;
    else if (a->junk || memchr(a->buf, '\r', a->n))
        line.state = WIRE_JUNK;
    else
        line.state = check(a->buf, &line.n);
    a->buf[line.n] = '\0';
    a->offset += a->length + 1;
    const bool empty = a->length == 0 || (line.state == WIRE_PLAIN && line.n == 0);
    a->n = 0;
    a->length = 0;
    a->junk = false;
    if (!empty)
        on_line(user, &line);
}

void assemble_push(struct assemble *a, const void *bytes, size_t n, wire_line_fn *on_line, void *user)
{
    const unsigned char *p = bytes;
    for (size_t i = 0; i < n; i++) {
        if (p[i] == '\n') {
            end_line(a, on_line, user);
            continue;
        }
        a->length++;
        if ((p[i] < 32 && p[i] != '\r') || p[i] > 126)
            a->junk = true;
        if (a->n < WIRE_LINE_MAX)
            a->buf[a->n++] = (char)p[i];
    }
}

uint64_t assemble_drop(struct assemble *a)
{
    const uint64_t dropped = a->length;
    a->offset += a->length;
    a->n = 0;
    a->length = 0;
    a->junk = false;
    return dropped;
}
