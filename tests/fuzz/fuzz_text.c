/* Delimited text: no input may crash, hang, leak or break what the reader promises. The first byte picks options and
 * the size of pieces; the rest is the text, read whole and in pieces: the same must come out. A byte 0xfe in it is where
 * bytes were lost (it is left out). */
#include "tests/import/reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PARTS_MAX 8

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool holds)
{
    if (!holds)
        abort();
}

static void choose(uint8_t pick, struct import_opts *o)
{
    import_opts_defaults(o);
    if (pick & 1) {
        o->columns = "time=1,pressure=2,flow=3";
        o->flow_unit = "L/min";
        o->pressure_unit = "hPa";
        o->time_unit = pick & 2 ? "clock" : "ms";
    } else if (pick & 2) {
        o->rate_hz = 100;
        o->average = 3;
    }
    o->decimal_comma = (pick & 4) != 0;
    o->invert = pick & 8 ? "flow" : NULL;
    o->header = pick & 16 ? 1 : 0;
}

static void promises(const struct reading *r)
{
    if (r->rc != TM_OK) {
        must(r->err.what[0] != '\0' && r->n == 0);
        return;
    }
    must(r->end == SRC_END);
    double hz = (double)r->info.rate_num / (double)r->info.rate_den;
    must(hz >= 24 && hz <= 1010 && r->info.gap_limit_ns > 0);
    for (size_t i = 0; i < r->n; i++) {
        must(i == 0 || r->t_ns[i] > r->t_ns[i - 1]);
        for (int c = 0; c < CH_N; c++)
            must(!isinf(r->v[c][i]));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const size_t most[] = {1, 3, 64, 4096};
    struct fake_part parts[PARTS_MAX];
    struct import_opts o;
    size_t n = 0;
    if (size < 1)
        return 0;
    uint8_t pick = data[0];
    choose(pick, &o);
    const uint8_t *p = data + 1, *end = data + size;
    while (n < PARTS_MAX) {
        const uint8_t *lost = n + 1 < PARTS_MAX ? memchr(p, 0xfe, (size_t)(end - p)) : NULL;
        size_t len = (size_t)((lost ? lost : end) - p);
        parts[n] = (struct fake_part){(const char *)p, len, n > 0, (pick & 128) != 0};
        n++;
        if (!lost)
            break;
        p = lost + 1;
    }
    struct reading *whole = read_parts(parts, n, &o, 0, 0);
    struct reading *cut = read_parts(parts, n, &o, most[pick >> 5 & 3], 1 + pick);
    promises(whole);
    must(reading_same(whole, cut));
    reading_free(whole);
    reading_free(cut);
    return 0;
}
