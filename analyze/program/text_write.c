#include "analyze/program/text_write.h"
#include "ingest/decimal.h"
#include "ingest/units.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PLACES_MOST 12

struct text_writer {
    struct cells *cells;
    struct recording_info info;
    double factor[CH_N]; /* program value = written value * factor */
    int places[CH_N];    /* grows with the first value that needs it */
};

static int header(struct text_writer *w)
{
    cells_text(w->cells, "time [s]");
    for (int c = 0; c < CH_N; c++) {
        const struct channel_info *i = &w->info.channel[c];
        if (!i->present)
            continue;
        char text[64];
        (void)snprintf(text, sizeof text, "%s [%s]%s%s", channel_name((enum channel)c), i->unit, i->gas[0] ? " " : "", i->gas);
        cells_text(w->cells, text);
    }
    return cells_end_row(w->cells);
}

int text_writer_new(struct text_writer **out, const struct recording_info *info, cells_write_fn *write, void *user)
{
    struct text_writer *w = calloc(1, sizeof *w);
    if (!w || cells_new(&w->cells, write, user) != TM_OK) {
        free(w);
        return TM_ERR_MEMORY;
    }
    w->info = *info;
    for (int c = 0; c < CH_N; c++) {
        struct channel_info *i = &w->info.channel[c];
        const enum quantity q = channel_quantity((enum channel)c);
        const struct unit *u = unit_find_ucum(i->unit, strlen(i->unit), q);
        if (!u) {
            u = unit_of_quantity(q, 0);
            (void)snprintf(i->unit, sizeof i->unit, "%s", u->ucum);
        }
        w->factor[c] = u->factor;
        w->places[c] = i->decimals >= 0 && i->decimals <= PLACES_MOST ? i->decimals : 3;
    }
    const int rc = header(w);
    if (rc != TM_OK) {
        text_writer_destroy(w);
        return rc;
    }
    *out = w;
    return TM_OK;
}

/* The text that reads back as v: what a reader does is one parse and one multiplication. */
static size_t value(struct text_writer *w, int c, double v, char buf[DECIMAL_BUF])
{
    for (;; w->places[c]++) {
        const size_t n = decimal_format(buf, v / w->factor[c], w->places[c]);
        double back;
        if (w->places[c] >= PLACES_MOST || (decimal_scan(buf, buf + n, &back) == buf + n && back * w->factor[c] == v))
            return n;
    }
}

int text_write_samples(struct text_writer *w, const struct sample_block *b)
{
    char buf[DECIMAL_BUF];
    for (size_t i = 0; i < b->n; i++) {
        cells_bytes(w->cells, buf, decimal_format_ns(buf, b->t_ns[i] + w->info.first_source_ns));
        for (int c = 0; c < CH_N; c++) {
            if (!w->info.channel[c].present)
                continue;
            const double v = b->channels >> c & 1u ? b->v[c][i] : (double)NAN;
            if (isfinite(v))
                cells_bytes(w->cells, buf, value(w, c, v, buf));
            else
                cells_empty(w->cells);
        }
        const int rc = cells_end_row(w->cells);
        if (rc != TM_OK)
            return rc;
    }
    return TM_OK;
}

int text_write_close(struct text_writer *w)
{
    return cells_flush(w->cells);
}

void text_writer_destroy(struct text_writer *w)
{
    if (w)
        cells_destroy(w->cells);
    free(w);
}
