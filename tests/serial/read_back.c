#include "tests/serial/read_back.h"

#include <math.h>
#include <string.h>

#include "ingest/source.h"

static void take(struct read_back *out, const struct sample_block *b, int64_t first_source_ns)
{
    for (size_t i = 0; i < b->n; i++) {
        const int64_t t = b->t_ns[i] + first_source_ns;
        if (out->samples == 0)
            out->first_ns = t;
        else if (t - out->last_ns > out->step_ns_max)
            out->step_ns_max = t - out->last_ns;
        out->last_ns = t;
        out->samples++;
        if (isnan(b->v[CH_PAW][i]))
            out->missing++;
        else
            out->paw_sum += b->v[CH_PAW][i];
    }
}

void read_back(const char *path, struct read_back *out)
{
    memset(out, 0, sizeof *out);
    out->first_ns = out->last_ns = -1;
    struct import_opts o;
    import_opts_defaults(&o);
    struct source *s = NULL;
    struct err e;
    const struct notice_sink deaf = {NULL, NULL};
    if (source_open(&s, path, &o, &deaf, &e) != TM_OK)
        return;
    out->opened = true;
    struct item item;
    enum src_rc rc;
    while ((rc = source_next(s, &item, &e)) == SRC_ITEM) {
        if (item.kind == ITEM_SAMPLES) {
            take(out, item.samples, source_info(s)->first_source_ns);
        } else if (item.kind == ITEM_GAP) {
            out->gaps++;
            memcpy(out->gap, item.gap.reason, sizeof out->gap);
        }
    }
    out->failed = rc != SRC_END;
    out->closed_well = source_closed_well(s);
    source_close(s);
}
