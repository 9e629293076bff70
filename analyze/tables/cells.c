#include "analyze/tables/cells.h"
#include "analyze/tables/number.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

struct cells {
    cells_write_fn *write;
    void *user;
    int rc;
    bool first;      /* no cell yet in this row */
    size_t row_from; /* where the open row begins */
    size_t n;
    char buf[CELLS_CAP];
};

int cells_new(struct cells **out, cells_write_fn *write, void *user)
{
    struct cells *c = malloc(sizeof *c);
    if (!c)
        return TM_ERR_MEMORY;
    c->write = write;
    c->user = user;
    c->rc = TM_OK;
    c->first = true;
    c->row_from = c->n = 0;
    *out = c;
    return TM_OK;
}

static void hand_on(struct cells *c, size_t n)
{
    if (c->rc == TM_OK && n > 0)
        c->rc = c->write(c->user, c->buf, n);
    memmove(c->buf, c->buf + n, c->n - n);
    c->n -= n;
    c->row_from -= n;
}

static void add(struct cells *c, const char *s, size_t n)
{
    if (c->rc != TM_OK)
        return;
    if (c->n + n > CELLS_CAP && c->row_from > 0)
        hand_on(c, c->row_from);
    if (c->n + n > CELLS_CAP) {
        c->rc = TM_ERR_INPUT; /* one row over 64 KiB: no table has such */
        return;
    }
    memcpy(c->buf + c->n, s, n);
    c->n += n;
}

static inline void separate(struct cells *c)
{
    if (!c->first) {
        if (c->rc == TM_OK && c->n < CELLS_CAP)
            c->buf[c->n++] = ',';
        else
            add(c, ",", 1);
    }
    c->first = false;
}

void cells_empty(struct cells *c)
{
    separate(c);
}

void cells_bytes(struct cells *c, const char *s, size_t n)
{
    separate(c);
    add(c, s, n);
}

static void put_text(struct cells *c, const char *s, bool guard)
{
    separate(c);
    if (!guard && !s[strcspn(s, ",\"\r\n")]) {
        add(c, s, strlen(s));
        return;
    }
    add(c, "\"", 1);
    if (guard)
        add(c, "'", 1);
    while (*s) {
        const size_t n = strcspn(s, "\"");
        add(c, s, n);
        s += n;
        if (*s == '"') {
            add(c, "\"\"", 2);
            s++;
        }
    }
    add(c, "\"", 1);
}

void cells_text(struct cells *c, const char *s)
{
    put_text(c, s, false);
}

void cells_free_text(struct cells *c, const char *s)
{
    put_text(c, s, s[0] && strchr("=+-@\t\r", s[0]));
}

void cells_number(struct cells *c, double v, int decimals)
{
    char b[NUMBER_MAX];
    cells_bytes(c, b, number_put(b, v, decimals));
}

void cells_scaled(struct cells *c, int64_t scaled, int decimals)
{
    char b[NUMBER_MAX];
    cells_bytes(c, b, number_put_scaled(b, scaled, decimals));
}

void cells_integer(struct cells *c, int64_t v)
{
    cells_scaled(c, v, 0);
}

void cells_seconds(struct cells *c, int64_t ns)
{
    char b[NUMBER_MAX];
    cells_bytes(c, b, number_put_ns(b, ns));
}

int cells_end_row(struct cells *c)
{
    add(c, "\n", 1);
    c->first = true;
    c->row_from = c->n;
    return c->rc;
}

int cells_flush(struct cells *c)
{
    hand_on(c, c->row_from);
    return c->rc;
}

void cells_destroy(struct cells *c)
{
    free(c);
}
