/* The log of judged runs, and the judge's hash: who looks often at the same patients learns them, so every look is
 * written down. A line of the log, tab-separated: date, hash, patients, bars held, bars, what changed since. */
#ifndef TIDEMARK_TESTS_ACCURACY_RUNS_H
#define TIDEMARK_TESTS_ACCURACY_RUNS_H

#include <stddef.h>

#define JUDGE_HASH_LENGTH 64

/* SHA-256 over the judge's sources in a folder (*.c, *.h, *.def by name: name, newline, content), as hex digits. 0, or -1
 * with the reason on stderr. */
int judge_hash(const char *folder, char hash[JUDGE_HASH_LENGTH + 1]);
/* Adds a line. */
int runs_add(const char *path, const char *hash, size_t patients, int held, int bars, const char *changed);
/* The log as a page's section; malloc'ed. NULL with the reason on stderr. */
char *runs_section(const char *path, const char *hash);

#endif
