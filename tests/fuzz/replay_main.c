/* Runs a fuzz target over the files of folders, without a fuzzer, so that every past finding is tried in each test run.
 * With -m N each file is also tried in N mutations of its own (bytes flipped, cut, doubled), by a fixed sequence. */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static uint64_t seed = 88172645463325252u;
static uint64_t next(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return seed;
}

static size_t mutate(uint8_t *p, size_t n, size_t cap)
{
    for (uint64_t k = 1 + next() % 4; k > 0 && n > 2; k--) {
        size_t at = next() % n, len = next() % 40;
        len = len < n - at ? len : n - at;
        switch (next() % 5) {
        case 0:
            p[at] ^= (uint8_t)(1u << next() % 8);
            break;
        case 1:
            p[at] = (uint8_t)"0123456789.,-+@!~^%$ \n\r\xff="[next() % 25];
            break;
        case 2:
            n -= len;
            memmove(p + at, p + at + len, n - at);
            break;
        case 3:
            if (n + len > cap)
                break;
            memmove(p + at + len, p + at, n - at);
            n += len;
            break;
        default:
            n = next() % 8 == 0 ? at + 1 : n;
            break;
        }
    }
    return n;
}

static int replay(const char *path, long mutations)
{
    size_t cap = 1u << 20;
    uint8_t *seedling = malloc(cap), *work = malloc(cap);
    FILE *f = fopen(path, "rb");
    if (!seedling || !work || !f)
        return 0;
    size_t n = fread(seedling, 1, cap, f);
    (void)fclose(f);
    /* The exact size on the heap, so that a sanitizer sees a read beyond it. */
    for (long k = 0; k <= mutations; k++) {
        memcpy(work, seedling, n);
        size_t m = k == 0 ? n : mutate(work, n, cap);
        uint8_t *exact = malloc(m + (m == 0));
        if (!exact)
            return 0;
        memcpy(exact, work, m);
        (void)LLVMFuzzerTestOneInput(exact, m);
        free(exact);
    }
    free(seedling);
    free(work);
    return 1;
}

int main(int argc, char **argv)
{
    long mutations = 0;
    int files = 0;
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "-m") == 0 && i + 1 < argc) {
            mutations = atol(argv[++i]);
            continue;
        }
        DIR *d = opendir(argv[i]);
        struct dirent *entry;
        while (d && (entry = readdir(d))) {
            char path[4096];
            if (entry->d_name[0] == '.')
                continue;
            (void)snprintf(path, sizeof path, "%s/%s", argv[i], entry->d_name);
            files += replay(path, mutations);
        }
        if (d)
            (void)closedir(d);
    }
    (void)printf("replayed %d files\n", files);
    return files > 0 ? 0 : 1;
}
