/* For scripts: writes what bytes.h gives of FILE to standard output; exit 1 where a notice said that something is
 * wrong, 2 on failure. */
#include "ingest/bytes/bytes.h"

#include <stdio.h>

static void hear(void *user, const struct notice *n)
{
    int *wrong = user;
    *wrong |= n->level != NOTICE_NOTE;
    (void)fprintf(stderr, "%s: %s\n", n->code, n->what);
}

int main(int argc, char **argv)
{
    int wrong = 0;
    struct notice_sink sink = {.fn = hear, .user = &wrong};
    struct bytes *b;
    struct bytes_chunk c;
    struct err e;
    if (argc != 2 || bytes_open(&b, argv[1], &sink, &e) != TM_OK)
        return 2;
    enum bytes_rc rc;
    while ((rc = bytes_next(b, &c, &e)) == BYTES_DATA)
        if (fwrite(c.data, 1, c.n, stdout) != c.n)
            return 2;
    bytes_close(b);
    return rc == BYTES_END && fflush(stdout) == 0 ? wrong : 2;
}
