/* The writer's lines that are no samples: gaps, marks and clock events. */
#include "ingest/log/log_write_internal.h"
#include "ingest/rfc3339.h"

#include <string.h>

int log_write_gap(struct log_writer *w, const struct gap *g)
{
    char line[160] = "~ ";
    size_t n = 2 + line_encode(line + 2, 100, g->reason[0] ? g->reason : "unknown");
    if (g->to_ns >= 0 && g->from_ns >= 0) {
        line[n++] = ' ';
        n += decimal_format_ns(line + n, g->to_ns - g->from_ns);
    }
    w->need_time = true;
    return writer_put_line(w, line, n);
}

/* Marks keep their text as it stands: it is encoded already. */
int log_write_mark(struct log_writer *w, const struct mark *m)
{
    char line[512] = "!";
    size_t n = 1 + decimal_format_ns(line + 1, m->at_ns + w->origin_ns);
    line[n++] = ' ';
    if (m->entered_ns < 0) {
        line[n++] = '-';
    } else if (w->info.start_known) {
        char wall[RFC3339_BUF];
        size_t k = rfc3339_format(wall, w->info.start_unix_ns + m->entered_ns, 0, 9);
        memcpy(line + n, wall, k);
        n += k;
    } else {
        n += decimal_format_ns(line + n, m->entered_ns + w->origin_ns);
    }
    line[n++] = ' ';
    n += line_encode(line + n, 100, m->kind[0] ? m->kind : "note");
    if (m->text[0]) {
        line[n++] = ' ';
        size_t k = strlen(m->text);
        for (size_t i = 0; i < k; i++)
            line[n++] = (unsigned char)m->text[i] < ' ' ? ' ' : m->text[i];
    }
    return writer_put_line(w, line, n);
}

int log_write_clock(struct log_writer *w, const char *what, int64_t step_ns)
{
    char line[160] = "^ ";
    size_t n = 2 + line_encode(line + 2, 100, what);
    line[n++] = ' ';
    n += decimal_format_ns(line + n, step_ns);
    int rc = writer_put_line(w, line, n);
    w->origin_ns += step_ns;
    w->need_time = true;
    return rc;
}
