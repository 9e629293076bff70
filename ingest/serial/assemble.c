#include "ingest/serial/assemble.h"

#include <string.h>

/* Bit by bit: a line is some 15 bytes, a hundred times a second. */
uint16_t wire_crc(const void *bytes, size_t n)
{
    const unsigned char *p = bytes;
    unsigned crc = 0xFFFF;
    for (size_t i = 0; i < n; i++) {
        crc ^= (unsigned)p[i] << 8;
        for (int bit = 0; bit < 8; bit++)
            crc = (crc & 0x8000) ? ((crc << 1) ^ 0x1021) & 0xFFFF : (crc << 1) & 0xFFFF;
    }
    return (uint16_t)crc;
}

void assemble_init(struct assemble *a)
{
    memset(a, 0, sizeof *a);
}

static int hex(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'A' && c <= 'F')
        return c - 'A' + 10;
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* Cuts " $HHHH" off and checks it. A tail that only resembles one ("$12", "$12G4") is damage: no line of the
 * grammar holds a bare " $" near its end. */
static enum wire_state check(char *text, size_t *n)
{
    size_t at = *n;
    while (at > 0 && text[at - 1] != '$' && *n - at < 8)
        at--;
    if (at < 2 || text[at - 1] != '$' || text[at - 2] != ' ')
        return WIRE_PLAIN;
    unsigned told = 0;
    bool whole = *n - at == 4;
    for (size_t i = at; i < *n; i++) {
        const int digit = hex(text[i]);
        whole = whole && digit >= 0;
        told = told << 4 | (unsigned)(digit < 0 ? 0 : digit);
    }
    *n = at - 2;
    text[*n] = '\0';
    return whole && told == wire_crc(text, *n) ? WIRE_CHECKED : WIRE_BAD_CRC;
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
