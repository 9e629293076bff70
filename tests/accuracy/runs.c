#include "tests/accuracy/runs.h"

#include <dirent.h>
#include <errno.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static int is_source(const struct dirent *d)
{
    const char *dot = strrchr(d->d_name, '.');
    return dot && (strcmp(dot, ".c") == 0 || strcmp(dot, ".h") == 0 || strcmp(dot, ".def") == 0);
}

static int by_name(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

static int hash_file(struct sha256_ctx *sha, const char *folder, const char *name)
{
    char path[1024];
    unsigned char block[4096];
    size_t n;
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *f = fopen(path, "rb");
    if (!f) {
        perror(path);
        return -1;
    }
    sha256_update(sha, strlen(name), (const uint8_t *)name);
    sha256_update(sha, 1, (const uint8_t *)"\n");
    while ((n = fread(block, 1, sizeof block, f)) > 0) {
        sha256_update(sha, n, block);
    }
    int bad = ferror(f);
    return fclose(f) || bad ? -1 : 0;
}

int judge_hash(const char *folder, char hash[JUDGE_HASH_LENGTH + 1])
{
    struct dirent **list;
    struct sha256_ctx sha;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&sha);
    int n = scandir(folder, &list, is_source, by_name), rc = n > 0 ? 0 : -1;
    if (rc) {
        fprintf(stderr, "%s: no sources of the judge here\n", folder);
    }
    for (int i = 0; i < n; i++) {
        rc = rc ? rc : hash_file(&sha, folder, list[i]->d_name);
        free(list[i]);
    }
    if (n >= 0) {
        free(list);
    }
    sha256_digest(&sha, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(hash + 2 * i, 3, "%02x", digest[i]);
    }
    return rc;
}

int runs_add(const char *path, const char *hash, size_t patients, int held, int bars, const char *changed)
{
    time_t now = time(NULL);
    struct tm day;
    char date[16];
    FILE *f = gmtime_r(&now, &day) ? fopen(path, "ab") : NULL;
    if (!f) {
        perror(path);
        return -1;
    }
    strftime(date, sizeof date, "%Y-%m-%d", &day);
    fprintf(f, "%s\t%.12s\t%zu\t%d\t%d\t%s\n", date, hash, patients, held, bars, changed);
    int bad = ferror(f);
    return fclose(f) || bad ? -1 : 0;
}

char *runs_section(const char *path, const char *hash)
{
    char *text = NULL, line[1024];
    size_t size;
    FILE *in = fopen(path, "rb"), *out = in ? open_memstream(&text, &size) : NULL;
    if (!out) {
        perror(path);
        if (in) {
            fclose(in);
        }
        return NULL;
    }
    fprintf(out, "## Judged runs\n\nThe judge's sources have the SHA-256 `%s`. Each look at its patients, and what had changed "
            "since the one before:\n\n| date | judge | recordings | bars held | what changed |\n|---|---|---|---|---|\n", hash);
    while (fgets(line, sizeof line, in)) {
        char *field[6] = {line};
        for (int i = 1; i < 6 && field[i - 1]; i++) {
            field[i] = strchr(field[i - 1], '\t');
            if (field[i]) {
                *field[i]++ = '\0';
            }
        }
        if (field[5]) {
            field[5][strcspn(field[5], "\n")] = '\0';
            fprintf(out, "| %s | %s | %s | %s of %s | %s |\n", field[0], field[1], field[2], field[3], field[4], field[5]);
        }
    }
    fputc('\n', out);
    fclose(in);
    if (fclose(out)) {
        free(text);
        return NULL;
    }
    return text;
}
