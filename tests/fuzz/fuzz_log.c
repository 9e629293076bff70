/* The log with its container: no input may crash, hang, leak, or break what the reader promises. The first byte picks
 * what is tried with the rest:
 *   0 as a file; 1 as text, plain, in one gzip member and with CR LF: the same comes out; 2 recovered: the copy is closed, nothing is
 *   wrong with its container, and recovering it again changes nothing; 3 as text in members cut where the data say. */
#include "tests/log/kit.h"

#include "ingest/log/log_gz.h"
#include "ingest/log/log_recover.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool holds)
{
    if (!holds)
        abort();
}

static bool same_double(double a, double b)
{
    return memcmp(&a, &b, sizeof a) == 0 || (a != a && b != b);
}

static void same_outcome(const struct got *a, const struct got *b)
{
    must(a->rc == b->rc && a->n == b->n && a->gaps == b->gaps && a->marks == b->marks);
    must(a->closed_well == b->closed_well && strcmp(a->heard.codes, b->heard.codes) == 0);
    for (size_t i = 0; i < a->n; i++) {
        must(a->sample[i].t_ns == b->sample[i].t_ns);
        for (int c = 0; c < CH_N; c++)
            must(same_double(a->sample[i].v[c], b->sample[i].v[c]));
    }
}

/* Text in members; a byte 0xff in the text ends one (and is left out). */
static void wrap(struct memory *m, const uint8_t *data, size_t size)
{
    struct log_gz *gz = malloc(sizeof *gz);
    must(gz && log_gz_init(gz, memory_write, m, false, 1) == TM_OK);
    while (size > 0) {
        const uint8_t *end = memchr(data, 0xff, size);
        size_t n = end ? (size_t)(end - data) : size;
        must(log_gz_put(gz, (const char *)data, n) == TM_OK && log_gz_end(gz) == TM_OK);
        n += end != NULL;
        data += n;
        size -= n;
    }
    log_gz_free(gz);
    free(gz);
}

/* With CR LF instead of LF nothing changes, but that the reader's fast way is not taken. */
static void try_line_ends(const struct got *plain, const uint8_t *data, size_t size)
{
    if (size > 4000 || memchr(data, '\r', size))
        return; /* where a line might become too long, or end in two */
    uint8_t *crlf = malloc(2 * size);
    size_t n = 0;
    must(crlf != NULL);
    for (size_t i = 0; i < size; i++) {
        if (data[i] == '\n')
            crlf[n++] = '\r';
        crlf[n++] = data[i];
    }
    struct got g;
    read_memory(&g, crlf, n);
    same_outcome(plain, &g);
    got_free(&g);
    free(crlf);
}

static int recover(struct memory *m, const void *data, size_t size)
{
    struct recover_report report;
    char path[64];
    make_file(path, data, size);
    int rc = log_recover(path, memory_write, m, &report, NULL, NULL);
    (void)unlink(path);
    return rc;
}

static void try_recover(const uint8_t *data, size_t size)
{
    struct memory once = {0}, twice = {0};
    if (recover(&once, data, size) == TM_OK) {
        struct got g;
        read_memory(&g, once.data, once.n);
        must(!heard_code(&g.heard, "torn") && !heard_code(&g.heard, "damaged_member"));
        must(!heard_code(&g.heard, "not_closed"));
        got_free(&g);
        must(recover(&twice, once.data, once.n) == TM_OK);
        must(once.n == twice.n && memcmp(once.data, twice.data, once.n) == 0);
    }
    memory_free(&once);
    memory_free(&twice);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size < 2)
        return 0;
    uint8_t mode = data[0] & 3;
    data++;
    size--;
    struct got plain, packed;
    struct memory m = {0};
    if (mode == 2) {
        try_recover(data, size);
        return 0;
    }
    if (mode == 0) {
        read_memory(&plain, data, size);
        got_free(&plain);
        return 0;
    }
    wrap(&m, data, size);
    read_memory(&packed, m.data, m.n);
    if (mode == 1 && !memchr(data, 0xff, size) && data[0] != 0x1f) {
        read_memory(&plain, data, size);
        same_outcome(&plain, &packed);
        try_line_ends(&plain, data, size);
        got_free(&plain);
    }
    got_free(&packed);
    memory_free(&m);
    return 0;
}
