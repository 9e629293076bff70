/* For scripts: writes FILE, a log of SECONDS seconds at 100 Hz, and its text, made apart, to FILE.txt. */
#include "ingest/log/log_write.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int to_file(void *user, const void *data, size_t n)
{
    return fwrite(data, 1, n, (FILE *)user) == n ? TM_OK : TM_ERR_SYSTEM;
}

static int write_one(const char *path, bool plain, long seconds)
{
    static struct sample_block b;
    struct recording_info in;
    recording_info_defaults(&in);
    in.channel[CH_PAW] = (struct channel_info){.present = true, .decimals = 2};
    in.channel[CH_FLOW] = (struct channel_info){.present = true, .decimals = 3};
    in.regular = true;
    in.rate_num = 100;
    in.rate_den = 1;
    FILE *f = fopen(path, "wb");
    struct log_writer *w;
    struct log_write_opts o = {.write = to_file, .user = f, .plain = plain};
    if (!f || log_writer_new(&w, &in, &o, NULL) != TM_OK)
        return 1;
    int rc = TM_OK;
    b.channels = 3;
    for (long s = 0; s < seconds && rc == TM_OK; s++) {
        b.n = 100;
        for (size_t i = 0; i < b.n; i++) {
            int64_t k = s * 100 + (int64_t)i;
            b.t_ns[i] = k * 10000000;
            b.v[CH_PAW][i] = 12 + 8 * sin((double)k * 0.02);
            b.v[CH_FLOW][i] = 0.5 * cos((double)k * 0.021);
        }
        rc = log_write_samples(w, &b);
    }
    if (rc == TM_OK)
        rc = log_write_close(w);
    log_writer_destroy(w);
    return fclose(f) == 0 && rc == TM_OK ? 0 : 1;
}

int main(int argc, char **argv)
{
    char text[4096];
    if (argc != 3)
        return 2;
    (void)snprintf(text, sizeof text, "%s.txt", argv[1]);
    return write_one(argv[1], false, atol(argv[2])) || write_one(text, true, atol(argv[2]));
}
