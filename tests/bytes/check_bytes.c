#include "tests/bytes/check_bytes.h"

#include "ingest/bytes/bytes.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void make_file(char path[64], const void *data, size_t n)
{
    strcpy(path, "/tmp/tidemark-test-XXXXXX");
    int fd = mkstemp(path);
    const char *p = data;
    while (fd >= 0 && n > 0) {
        ssize_t k = write(fd, p, n);
        if (k <= 0)
            abort();
        p += k;
        n -= (size_t)k;
    }
    if (fd < 0 || close(fd) != 0)
        abort();
}

static void hear(void *user, const struct notice *n)
{
    struct heard *h = user;
    h->count++;
    h->wrong += n->level != NOTICE_NOTE;
    size_t used = strlen(h->codes);
    if (used + strlen(n->code) + 2 < sizeof h->codes) {
        if (used > 0)
            strcat(h->codes, " ");
        strcat(h->codes, n->code);
    }
}

struct notice_sink heard_sink(struct heard *h)
{
    memset(h, 0, sizeof *h);
    return (struct notice_sink){.fn = hear, .user = h};
}

bool heard_code(const struct heard *h, const char *code)
{
    size_t n = strlen(code);
    for (const char *p = h->codes; (p = strstr(p, code)); p += n)
        if ((p == h->codes || p[-1] == ' ') && (p[n] == ' ' || p[n] == '\0'))
            return true;
    return false;
}

char *slurp(const char *path, size_t *n, struct heard *h)
{
    struct notice_sink sink = heard_sink(h);
    struct err e;
    struct bytes *b;
    struct bytes_chunk c;
    char *all = malloc(1);
    *n = 0;
    if (bytes_open(&b, path, &sink, &e) != TM_OK || !all)
        abort();
    enum bytes_rc rc;
    while ((rc = bytes_next(b, &c, &e)) == BYTES_DATA) {
        all = realloc(all, *n + c.n + 1);
        if (!all)
            abort();
        memcpy(all + *n, c.data, c.n);
        *n += c.n;
    }
    if (rc != BYTES_END)
        abort();
    bytes_close(b);
    return all;
}
